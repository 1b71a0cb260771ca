// What every page needs: drafts are kept while typing, a mistake is brought into view. Pages work without it.

const PAUSE_MS = 600;

// "/jobs/12/do/enter-bitting/" is the act; its draft is kept at "/jobs/12/draft/enter-bitting/".
const draftUrl = (form) => {
  const path = new URL(form.action, location.href).pathname;
  if (path.endsWith("/jobs/new/")) return `${path}draft/`;
  return path.includes("/do/") ? path.replace("/do/", "/draft/") : null;
};

const waiting = new Map();

const keep = (form) => {
  clearTimeout(waiting.get(form));
  waiting.delete(form);
  // A form that a fragment has replaced holds old words.
  if (!form.isConnected) return;
  fetch(draftUrl(form), { method: "POST", body: new FormData(form), keepalive: true }).catch(() => {
    // Without a connection the next keystroke tries again.
  });
};

document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form?.matches("form[data-act]") || !draftUrl(form)) return;
  clearTimeout(waiting.get(form));
  waiting.set(form, setTimeout(keep, PAUSE_MS, form));
});

document.addEventListener("submit", (event) => {
  // What is sent needs no draft: one that arrives later would bring old words back.
  clearTimeout(waiting.get(event.target));
  waiting.delete(event.target);
});

// A second press within this time is the same press: nothing is sent twice by a double click.
const SAME_PRESS_MS = 3000;
const sent = new Map();
document.addEventListener("submit", (event) => {
  if (event.timeStamp - (sent.get(event.target) ?? -Infinity) < SAME_PRESS_MS) event.preventDefault();
  else sent.set(event.target, event.timeStamp);
});
addEventListener("pageshow", () => sent.clear());

addEventListener("pagehide", () => [...waiting.keys()].forEach(keep));
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden") [...waiting.keys()].forEach(keep);
});

const problem = document.querySelector(".problem[tabindex]");
if (problem) problem.focus();
document.querySelectorAll("details:has(.error)").forEach((details) => { details.open = true; });

// A password can be looked at while it is typed: small keys, cold fingers.
document.querySelectorAll('input[type="password"]').forEach((field) => {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain";
  const which = document.createElement("span");
  which.className = "read-out";
  which.textContent = `: ${field.labels[0].textContent.trim()}`;
  button.append("Show what I type", which);
  button.setAttribute("aria-pressed", "false");
  button.addEventListener("click", () => {
    const shown = field.type === "text";
    field.type = shown ? "password" : "text";
    button.setAttribute("aria-pressed", String(!shown));
  });
  field.after(button);
  // Sent as what it is, so that no browser keeps it among words typed before.
  field.form.addEventListener("submit", () => { field.type = "password"; });
});

// What is wider than the screen can be scrolled by keyboard as well; what fits is no stop for Tab.
const letScroll = () => document.querySelectorAll(".scroll").forEach((box) => {
  if (box.scrollWidth > box.clientWidth || box.scrollHeight > box.clientHeight) box.tabIndex = 0;
  else box.removeAttribute("tabindex");
});
letScroll();
addEventListener("resize", letScroll);
document.addEventListener("toggle", letScroll, true);
document.addEventListener("htmx:afterSettle", letScroll);
