// The sweep of a cutting program, to be scrubbed. Without it three stills stand in the page.

const SVG = "http://www.w3.org/2000/svg";
const ABOVE = 6, SIDE = 2, FRAME_MS = 40;

class Film {
  constructor(box) {
    this.box = box;
    this.data = JSON.parse(document.getElementById(box.dataset.film).textContent);
    this.view = box.querySelector("svg");
    this.words = box.querySelector(".sweep-words");
    this.slider = box.querySelector("input");
    this.button = box.querySelector("[data-play]");
    this.at = -1;
    this.draw();
    this.slider.max = String(this.data.moments.length - 1);
    this.slider.addEventListener("input", () => { this.stop(); this.show(Number(this.slider.value)); });
    for (const one of box.querySelectorAll("[data-step]")) {
      one.addEventListener("click", () => { this.stop(); this.show(this.at + Number(one.dataset.step)); });
    }
    this.button.addEventListener("click", () => (this.timer ? this.stop() : this.play()));
    box.hidden = false;
    const stills = box.parentElement.querySelector(".stills");
    if (stills) stills.hidden = true;
    this.show(this.data.moments.length - 1);
  }

  draw() {
    const [length, bottom, top] = this.data.blank;
    this.view.setAttribute("viewBox", `${-SIDE} ${-top - ABOVE} ${length + 2 * SIDE} ${top - bottom + ABOVE + SIDE}`);
    for (const name of ["left", "part", "ideal", "ideal-high", "tool"]) {
      const path = document.createElementNS(SVG, "path");
      path.setAttribute("class", `sweep-${name === "ideal-high" ? "ideal" : name}`);
      this.view.append(path);
      this[name] = path;
    }
    this.ideal.setAttribute("d", this.trace(this.data.ideal));
    if (this.data.ideal_high) this["ideal-high"].setAttribute("d", this.trace(this.data.ideal_high));
  }

  // Points of an outline; null is where there is none.
  trace(heights) {
    let pen = "M";
    let path = "";
    heights.forEach((h, index) => {
      if (h === null) { pen = "M"; return; }
      path += `${pen}${this.data.x[index]} ${-h}`;
      pen = "L";
    });
    return path;
  }

  // What lies between a lower and an upper outline.
  fill(low, high) {
    let path = "";
    let start = -1;
    for (let index = 0; index <= low.length; index += 1) {
      const there = index < low.length && low[index] !== null && high[index] !== null;
      if (there && start < 0) start = index;
      if (!there && start >= 0) {
        const there = Array.from({ length: index - start }, (_, k) => start + k);
        const way = [...there.map((k) => [k, low[k]]), ...there.reverse().map((k) => [k, high[k]])];
        path += `M${way.map(([k, h]) => `${this.data.x[k]} ${-h}`).join("L")}Z`;
        start = -1;
      }
    }
    return path;
  }

  show(wanted) {
    const moments = this.data.moments;
    const at = Math.min(Math.max(wanted, 0), moments.length - 1);
    if (this.at < 0 || at < this.at) {
      this.state = { low: [...this.data.low], high: [...this.data.high], part: [...this.data.part] };
      this.at = -1;
    }
    for (let next = this.at + 1; next <= at; next += 1) {
      for (const [key, first, values] of moments[next].changes) {
        values.forEach((value, index) => { this.state[key][first + index] = value; });
      }
    }
    this.at = at;
    this.paint(moments[at]);
  }

  paint(moment) {
    const { low, high, part } = this.state;
    const [length, bottom, top] = this.data.blank;
    const floor = low.map(() => bottom);
    if (this.data.track) {
      this.left.setAttribute("d", `M0 ${-bottom}L${length} ${-bottom}L${length} ${-top}L0 ${-top}Z`);
      this.part.setAttribute("d", this.fill(low, high));
    } else {
      this.left.setAttribute("d", this.fill(floor, low));
      this.part.setAttribute("d", this.fill(part, low));
    }
    const [x, h] = moment.tool;
    const radius = this.data.radius;
    this.tool.setAttribute("d", radius
      ? `M${x - radius} ${-h}a${radius} ${radius} 0 1 0 ${2 * radius} 0a${radius} ${radius} 0 1 0 ${-2 * radius} 0Z`
      : `M${this.data.tool_outline.map(([dx, dh]) => `${x + dx} ${-(h + dh)}`).join("L")}Z`);
    this.tool.classList.toggle("rapid", moment.rapid);
    this.slider.value = String(this.at);
    const what = moment.rapid ? "moves above the metal" : "cuts";
    this.words.textContent = `${moment.t.toFixed(1)} s of ${this.data.duration_s.toFixed(1)} s, line ${moment.line}: the cutter ${what}.`;
    this.slider.setAttribute("aria-valuetext", this.words.textContent);
  }

  play() {
    if (this.at >= this.data.moments.length - 1) this.show(0);
    this.button.textContent = "Stop";
    this.timer = setInterval(() => {
      if (this.at >= this.data.moments.length - 1) this.stop();
      else this.show(this.at + 1);
    }, FRAME_MS);
  }

  stop() {
    clearInterval(this.timer);
    this.timer = 0;
    this.button.textContent = "Play";
  }
}

for (const box of document.querySelectorAll(".sweep")) new Film(box);
