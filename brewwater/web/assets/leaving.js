// Asks before a tab with changes that are not saved, or a field still being typed in, is closed or left. Loaded once;
// what is unsaved the page says itself, in an element that comes with every run.
if (!window.brewwaterLeaving) {
  window.brewwaterLeaving = true;
  addEventListener("beforeunload", (leaving) => {
    const typing = document.querySelector("[data-testid=InputInstructions]");
    if (document.querySelector("[data-unsaved=yes]") || (typing && typing.textContent)) leaving.preventDefault();
  });
}
