// Writing a run sheet: what is wrong stands beside its field while one types, and the map opens steps.

const ERROR = "error";

const describe = (input, id, wanted) => {
  const ids = new Set((input.getAttribute("aria-describedby") ?? "").split(" ").filter(Boolean));
  if (wanted) ids.add(id); else ids.delete(id);
  if (ids.size) input.setAttribute("aria-describedby", [...ids].join(" "));
  else input.removeAttribute("aria-describedby");
};

const say = (field, sentence) => {
  const input = field.querySelector("input, select, textarea");
  if (!input) return;
  const id = `${input.id}-${ERROR}`;
  let line = document.getElementById(id);
  if (!line && sentence) {
    line = document.createElement("p");
    line.className = ERROR;
    line.id = id;
    input.before(line);
  }
  if (line && sentence) line.textContent = sentence;
  if (line && !sentence) line.remove();
  field.classList.toggle("is-wrong", Boolean(sentence));
  describe(input, id, sentence);
  if (sentence) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
};

document.addEventListener("sheet-read", (event) => {
  const { fields } = event.detail;
  document.querySelectorAll(".editor-part .field").forEach((field) => {
    const input = field.querySelector("input, select, textarea");
    say(field, input ? fields[input.id] : "");
  });
});

// The map is a picture for the eye and the hand; the list of steps says and does the same by keyboard.
document.addEventListener("click", (event) => {
  const box = event.target.closest(".map [data-step]");
  if (!box) return;
  const opener = [...document.querySelectorAll("[data-opens]")]
    .find((button) => button.dataset.opens === box.dataset.step);
  opener?.click();
});

// What is open is in view: in the list of steps and on the map. Nothing outside the two boxes is moved.
const bring = (box, inner) => {
  if (!box || !inner) return;
  const frame = box.getBoundingClientRect();
  const mark = inner.getBoundingClientRect();
  box.scrollTop += mark.top + mark.height / 2 - frame.top - frame.height / 2;
  box.scrollLeft += mark.left + mark.width / 2 - frame.left - frame.width / 2;
};
const bringAll = () => {
  bring(document.querySelector(".parts"), document.querySelector(".part[aria-current]"));
  bring(document.querySelector(".map .scroll"), document.getElementById("map-here"));
};
bringAll();
document.addEventListener("htmx:afterSettle", bringAll);
