import { $, call } from "./common.js";

async function pair(code) {
  $("error").textContent = "";
  try {
    await call("/pair", { code });
    location.replace("/");
  } catch (error) {
    $("error").textContent = error.message;
  }
}

$("form").addEventListener("submit", (event) => {
  event.preventDefault();
  pair($("code").value);
});

// The picture carries the code after the #, which the browser keeps to itself.
const scanned = location.hash.slice(1);
if (scanned) {
  history.replaceState(null, "", "/pair");
  $("code").value = scanned;
  pair(scanned);
}
