// Puts a minus and a plus button beside inputs with data-count. Rows added later announce
// themselves with the event "rowadded".
function stepButton(input, sign, word) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button quiet count-step";
  button.textContent = sign;
  const label = input.labels[0]?.firstChild?.textContent.trim() ?? "";
  button.setAttribute("aria-label", `${word} ${label}`.trim());
  button.addEventListener("click", () => {
    if (word === "More") input.stepUp();
    else input.stepDown();
    input.dispatchEvent(new Event("change", { bubbles: true }));
  });
  return button;
}

function arm(input) {
  if (input.closest(".count") || input.closest("template")) return;
  const frame = document.createElement("span");
  frame.className = "count";
  input.replaceWith(frame);
  frame.append(input);
  frame.prepend(stepButton(input, "\u2212", "Fewer"));
  frame.append(stepButton(input, "+", "More"));
}

function armAll(place) {
  place.querySelectorAll("input[data-count]").forEach(arm);
}

armAll(document);
document.addEventListener("rowadded", (event) => armAll(event.target));
