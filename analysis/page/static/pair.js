import { $, call } from "./common.js";

async function pair(code) {
  $("error").textContent = "";
  try {
    const { to } = await call("/pair", { code });
    location.replace(to);
  } catch (error) {
    $("error").textContent = error.message;
  }
}

$("form").addEventListener("submit", (event) => {
  event.preventDefault();
  pair($("code").value);
});

// The picture carries the code after the #, which the browser keeps to itself.
function scanned() {
  const code = location.hash.slice(1);
  if (!code) return;
  history.replaceState(null, "", "/pair");
  $("code").value = code;
  pair(code);
}
addEventListener("hashchange", scanned);
scanned();
