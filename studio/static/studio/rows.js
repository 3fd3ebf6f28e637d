// Adds rows to a form at once. Without scripts the same button asks the server for more rows.
function addRow(place) {
  const total = place.querySelector(`[name="${place.dataset.rows}-TOTAL_FORMS"]`);
  const index = Number(total.value);
  if (index >= Number(place.dataset.rowsMax)) return;
  const blank = place.querySelector("[data-rows-blank]").innerHTML;
  const list = place.querySelector("[data-rows-list]");
  list.insertAdjacentHTML("beforeend", blank.replaceAll("__prefix__", index));
  const row = list.lastElementChild;
  row.querySelector("[data-row-number]").textContent = index + 1;
  total.value = index + 1;
  row.dispatchEvent(new CustomEvent("rowadded", { bubbles: true }));
  row.querySelector("input, select, textarea")?.focus();
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-rows-more]");
  if (!button) return;
  event.preventDefault();
  addRow(button.closest("[data-rows]"));
});
