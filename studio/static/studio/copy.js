// Buttons with data-copy put that text on the clipboard; they stay hidden where that cannot work.
const NOTED_MS = 2500;

function arm(button) {
  if (!navigator.clipboard) return;
  button.hidden = false;
  const label = button.textContent;
  button.setAttribute("aria-live", "polite");
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(button.dataset.copy);
    button.textContent = "Copied";
    window.setTimeout(() => { button.textContent = label; }, NOTED_MS);
  });
}

document.querySelectorAll("[data-copy]").forEach(arm);
