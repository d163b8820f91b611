import { $, call } from "./common.js";

call("/api/share").then(({ address, code }) => {
  $("address").textContent = address;
  $("code").textContent = code;
});
