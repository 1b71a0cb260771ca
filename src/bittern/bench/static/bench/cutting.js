// The set-up sheet on paper. Without script the browser's own print does it.

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
