import { ask, line, newId, page } from "./bench.js";

const told = document.getElementById("start-told");
for (const button of document.querySelectorAll("[data-start]")) {
  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      const answer = await ask("/api/cars", { id: newId(), bench: page.bench, version: page.version, file: button.dataset.start });
      if (answer.status === 201) { location.assign(`/cars/${encodeURIComponent(answer.told.car)}`); return; }
      told.textContent = line(answer.told);
    } catch { told.textContent = "The bench does not answer."; }
    button.disabled = false;
  });
}
