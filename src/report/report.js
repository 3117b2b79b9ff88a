// Pictures that answer: values under the pointer or the arrow keys, curves switched on and off in the legend.
// Everything is read back from the drawn paths; without this script the page is complete and still.
"use strict";
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const all = (root, what) => Array.from(root.querySelectorAll(what));
  const make = (name, marks = {}, ...inside) => {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(marks)) made.setAttribute(key, value);
    made.append(...inside);
    return made;
  };

  // "M100 200l4-3-3 2" as a list of strokes, each a list of places.
  const strokesOf = (path) =>
    path.split("M").slice(1).map((stroke) => {
      const numbers = stroke.match(/-?\d+/g).map(Number);
      let [x, y] = numbers;
      const places = [[x, y]];
      for (let at = 2; at + 1 < numbers.length; at += 2) places.push([(x += numbers[at]), (y += numbers[at + 1])]);
      return places;
    });

  // Heights at which a stroke crosses x; none for an upright one.
  const crossings = (places, x) => {
    const found = [];
    for (let at = 1; at < places.length; at++) {
      const [a, b] = [places[at - 1], places[at]];
      if (a[0] !== b[0] && Math.min(a[0], b[0]) <= x && x <= Math.max(a[0], b[0])) {
        found.push(a[1] + ((x - a[0]) / (b[0] - a[0])) * (b[1] - a[1]));
      }
    }
    return found;
  };

  // What an axis says at a fraction of its length, and how fine that can be told.
  const valueAt = (axis, fraction) =>
    axis.scale === "log" ? axis.from * (axis.to / axis.from) ** fraction : axis.from + fraction * (axis.to - axis.from);
  const written = (value, step) => {
    const decimals = Math.min(Math.max(Math.ceil(-Math.log10(step) - 0.1), 0), 9);
    return value.toFixed(decimals).replace(/^-0(\.0*)?$/, "0$1").replace("-", "−");
  };
  // With ± half of a width, if there is one.
  const inWords = (axis, fraction, length, width = 0) => {
    const value = valueAt(axis, fraction);
    const step = Math.abs(valueAt(axis, fraction + 1 / length) - value);
    const isKilo = axis.unit === "Hz" && value >= 1000;
    const [size, unit] = isKilo ? [1000, "kHz"] : [axis.size, axis.unit];
    const doubt = width ? ` ± ${written(width / 2 / size, step / size)}` : "";
    return `${written(value / size, step / size)}${doubt} ${unit}`.trim();
  };

  class Picture {
    constructor(svg) {
      this.svg = svg;
      this.about = JSON.parse(svg.querySelector("metadata").textContent);
      this.hidden = new Set();
      const [, , wide, high] = svg.getAttribute("viewBox").split(" ").map(Number);
      this.size = { wide, high };
      const frames = this.about.panels.map((panel) => panel.frame);
      this.frame = [frames[0][0], frames[0][1], frames[0][2], frames[frames.length - 1][3]];
      this.fraction = 0.5;
      this.height = null;
      this.isMap = (this.about.shades || []).length > 0;
    }

    // The lines and bands of each panel, by curve; read when first asked for.
    get drawn() {
      if (!this.known) {
        this.known = this.about.panels.map((panel, number) =>
          all(this.svg, `g[data-panel="${number}"] g[data-curve]`).map((group) => {
            const strokes = (which) => all(group, which).flatMap((path) => strokesOf(path.getAttribute("d")));
            const line = group.querySelector("path[stroke]");
            return {
              curve: Number(group.dataset.curve),
              lines: strokes("path[stroke]"),
              bands: strokes("path[fill-opacity]"),
              colour: line && line.getAttribute("stroke"),
            };
          }),
        );
      }
      return this.known;
    }

    // For each visible curve that has a value here: its name, colour, and what each panel says.
    rows(x) {
      const rows = new Map();
      this.drawn.forEach((groups, number) => {
        const panel = this.about.panels[number];
        for (const group of groups) {
          if (this.hidden.has(group.curve)) continue;
          const heights = group.lines.flatMap((stroke) => crossings(stroke, x).slice(0, 1));
          const edges = group.bands.flatMap((stroke) => crossings(stroke, x));
          const row = rows.get(group.curve) || { name: this.about.curves[group.curve], cells: [], edges: [] };
          row.colour = row.colour || group.colour;
          if (edges.length) row.edges[number] = edges;
          if (heights.length) row.cells[number] = (row.cells[number] || []).concat(heights);
          rows.set(group.curve, row);
        }
        if (this.isMap && panel) this.mapRow(panel, number, x, rows);
      });
      return [...rows.entries()].sort((a, b) => a[0] - b[0]).map(([, row]) => row).filter((row) => row.cells.length);
    }

    mapRow(panel, number, x, rows) {
      const y = this.height === null ? (panel.frame[1] + panel.frame[3]) / 2 : this.height;
      const there = new DOMPoint(x, y);
      const paths = all(this.svg, `g[data-panel="${number}"] > path[fill]`);
      const field = paths.find((path) => path.isPointInFill(there));
      const shade = field && this.about.shades.find(([colour]) => colour === field.getAttribute("fill"));
      rows.set(-1, { name: shade ? shade[1] : "nothing here", colour: shade && shade[0], cells: [[y]], edges: [] });
    }

    text(row, number) {
      const heights = row.cells[number];
      if (!heights) return "";
      const { y, frame } = this.about.panels[number];
      const length = frame[3] - frame[1];
      const fraction = (height) => (frame[3] - height) / length;
      const edges = row.edges[number];
      const isSure = !edges || heights.length > 1;
      const width = isSure ? 0 : valueAt(y, fraction(Math.min(...edges))) - valueAt(y, fraction(Math.max(...edges)));
      return [...new Set(heights.map((height) => inWords(y, fraction(height), length, width)))].join(", ");
    }

    prepare() {
      const drawing = this.svg.parentElement;
      this.hair = make("div", { class: "hair" });
      this.level = make("div", { class: "level" });
      const label = `Values along ${this.svg.querySelector("title").textContent}: left and right arrow keys`;
      this.reader = make("div", { class: "reader", role: "slider", tabindex: "0", "aria-label": label, "aria-valuemin": "0",
        "aria-valuemax": "100" }, this.hair, this.level);
      const share = (part, whole) => `${(100 * part) / whole}%`;
      const [left, top, right, bottom] = this.frame;
      Object.assign(this.reader.style, {
        left: share(left, this.size.wide), width: share(right - left, this.size.wide),
        top: share(top, this.size.high), height: share(bottom - top, this.size.high),
      });
      this.values = make("div", { class: "values", hidden: "" });
      drawing.append(this.reader);
      drawing.after(this.values);
      this.values.style.setProperty("--top", share(top, this.size.high));
      drawing.parentElement.removeAttribute("tabindex"); // what is inside can be reached by keyboard now
      this.svg.setAttribute("role", "group");
      for (const child of this.svg.children) {
        if (!child.hasAttribute("data-entry")) child.setAttribute("aria-hidden", "true");
      }
      this.tell();
      this.values.hidden = true;
      this.listen();
    }

    listen() {
      const { reader } = this;
      reader.addEventListener("pointermove", (event) => this.point(event));
      reader.addEventListener("pointerdown", (event) => this.point(event));
      reader.addEventListener("pointerleave", () => document.activeElement === reader || this.hide());
      reader.addEventListener("focus", () => this.show());
      reader.addEventListener("blur", () => this.hide());
      reader.addEventListener("keydown", (event) => this.key(event));
    }

    point(event) {
      const box = this.reader.getBoundingClientRect();
      this.fraction = Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
      const [, top, , bottom] = this.frame;
      this.height = top + Math.min(Math.max((event.clientY - box.top) / box.height, 0), 1) * (bottom - top);
      this.show();
    }

    key(event) {
      const step = event.shiftKey ? 1 / 2400 : 1 / 240;
      const moves = { ArrowLeft: -step, ArrowRight: step, PageDown: -1 / 12, PageUp: 1 / 12, Home: -1, End: 1 };
      const climbs = { ArrowUp: -1 / 60, ArrowDown: 1 / 60 };
      if (event.key === "Escape") return this.hide();
      if (event.key in moves) {
        this.fraction = Math.min(Math.max(this.fraction + moves[event.key], 0), 1);
      } else if (this.isMap && event.key in climbs) {
        const [, top, , bottom] = this.frame;
        const from = this.height === null ? (top + bottom) / 2 : this.height;
        this.height = Math.min(Math.max(from + climbs[event.key] * (bottom - top), top), bottom);
      } else return undefined;
      event.preventDefault();
      return this.show();
    }

    hide() {
      this.reader.classList.remove("on");
      this.values.hidden = true;
    }

    show() {
      this.reader.classList.add("on");
      this.tell();
      this.values.hidden = false;
      this.values.classList.toggle("left", this.fraction > 0.5);
    }

    tell() {
      const [left, top, right, bottom] = this.frame;
      const x = left + this.fraction * (right - left);
      const at = inWords(this.about.x, this.fraction, right - left);
      const rows = this.rows(x);
      this.hair.style.left = `${100 * this.fraction}%`;
      this.level.hidden = !this.isMap;
      if (this.isMap) this.level.style.top = `${(100 * ((this.height ?? (top + bottom) / 2) - top)) / (bottom - top)}%`;
      this.reader.setAttribute("aria-valuenow", (100 * this.fraction).toFixed(1));
      const panels = this.about.panels.map((_, number) => number).filter((number) => rows.some((row) => row.cells[number]));
      const said = rows.map((row) => `${row.name} ${panels.map((n) => this.text(row, n)).filter(Boolean).join(", ")}`);
      this.reader.setAttribute("aria-valuetext", [at, ...said].join("; "));
      this.values.replaceChildren(this.table(at, rows, panels));
    }

    table(at, rows, panels) {
      const named = (number) => this.about.panels[number].y.title.replace(/ *\(.*/, "");
      const head = make("tr", {}, make("th", { scope: "col" }, at),
        ...panels.map((number) => make("th", { scope: "col" }, named(number))));
      const lines = rows.map((row) => {
        const swatch = make("span", { class: "swatch" });
        swatch.style.background = row.colour || "transparent";
        const cells = panels.map((number) => make("td", {}, this.text(row, number)));
        return make("tr", {}, make("th", { scope: "row" }, swatch, row.name), ...cells);
      });
      return make("table", {}, make("thead", {}, head), make("tbody", {}, ...lines));
    }

    // The places of the legend's entries; asked for before anything is changed, so that it is laid out once.
    measure() {
      this.entries = all(this.svg, "g[data-entry]").map((group) => ({ group, box: group.getBBox() }));
    }

    switches() {
      if (this.about.curves.length < 2) return;
      const first = new Set();
      for (const { group, box } of this.entries) {
        const curve = Number(group.dataset.entry);
        const field = document.createElementNS(SVG, "rect");
        const marks = { x: box.x - 30, y: box.y - 30, width: box.width + 60, height: box.height + 60, rx: 30, class: "field" };
        for (const [name, value] of Object.entries(marks)) field.setAttribute(name, value);
        group.prepend(field);
        group.addEventListener("click", () => this.toggle(curve));
        if (first.has(curve)) {
          group.setAttribute("aria-hidden", "true");
          continue;
        }
        first.add(curve);
        for (const [name, value] of Object.entries({ role: "button", tabindex: "0", "aria-pressed": "true",
          "aria-label": `show ${this.about.curves[curve]}` })) group.setAttribute(name, value);
        group.addEventListener("keydown", (event) => {
          if (event.key !== "Enter" && event.key !== " ") return;
          event.preventDefault();
          this.toggle(curve);
        });
      }
    }

    toggle(curve) {
      const hide = !this.hidden.has(curve);
      if (hide) this.hidden.add(curve);
      else this.hidden.delete(curve);
      for (const group of all(this.svg, `g[data-curve="${curve}"]`)) group.classList.toggle("off", hide);
      for (const group of all(this.svg, `g[data-entry="${curve}"]`)) {
        group.classList.toggle("off", hide);
        if (group.hasAttribute("aria-pressed")) group.setAttribute("aria-pressed", String(!hide));
      }
      this.tell();
    }
  }

  // Pictures in what is folded away have no places yet: they wait until it is opened.
  const begin = (root) => {
    const waiting = all(root, "figure .drawing > svg").filter((svg) => !svg.dataset.ready && svg.getClientRects().length);
    const pictures = waiting.filter((svg) => svg.querySelector("metadata")).map((svg) => {
      svg.dataset.ready = "yes";
      return new Picture(svg);
    });
    pictures.forEach((picture) => picture.measure());
    pictures.forEach((picture) => {
      picture.switches();
      picture.prepare();
    });
  };
  begin(document);
  for (const details of all(document, "details")) details.addEventListener("toggle", () => details.open && begin(details));
})();
