import { ask, line } from "./bench.js";

for (const button of document.querySelectorAll("[data-revoke]")) {
  button.addEventListener("click", async () => {
    const { status } = await ask(`/api/devices/${encodeURIComponent(button.dataset.revoke)}/revoke`, {});
    if (status === 200 || status === 401) location.reload();
  });
}
document.getElementById("invite").addEventListener("click", async () => {
  const place = document.getElementById("link");
  const { status, told } = await ask("/api/devices/invite", {});
  if (status !== 201) { place.textContent = line(told); return; }
  const code = document.createElement("code");
  code.textContent = told.url;
  const picture = document.createElement("div");
  picture.className = "qr";
  // Read as a picture of its own, in which nothing can run.
  const svg = new DOMParser().parseFromString(told.qr, "image/svg+xml").documentElement;
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", "The same link for a camera");
  picture.append(document.importNode(svg, true));
  place.replaceChildren(picture, code);
});
