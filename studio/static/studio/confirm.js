// Asks before a form with data-confirm is sent. Without scripts the button simply posts.
document.addEventListener("submit", (event) => {
  const question = event.target.dataset.confirm;
  if (question && !window.confirm(question)) event.preventDefault();
});
