import { $, call, element, show } from "./common.js";

async function load() {
  const { asks } = await call("/api/new");
  $("asks").replaceChildren(...asks.flatMap(({ option, question }) => {
    const label = element("label", question), input = element("input", "", "wide");
    label.htmlFor = input.id = `ask-${option}`;
    input.name = option;
    input.autocomplete = "off";
    return [label, input];
  }));
}
$("form").addEventListener("submit", async (event) => {
  event.preventDefault();
  $("error").textContent = "";
  const answers = Object.fromEntries([...$("asks").querySelectorAll("input")].map((input) => [input.name, input.value]));
  try {
    const made = await call("/api/new", { name: $("panel-name").value, flow: $("flow").value, scale: $("scale").value, answers });
    const next = `/panel/${encodeURIComponent(made.id)}`;
    if (!made.questions.length) {
      location.href = next;
      return;
    }
    $("on").href = next;
    $("questions").replaceChildren(...made.questions.map((text) => element("li", text)));
    show("form", false);
    show("look", true);
  } catch (error) {
    $("error").textContent = error.message;
  }
});
load().catch((error) => { $("error").textContent = error.message; });
