// The picture with what was found drawn over it. Shapes come in the picture's
// pixels; all that is worked out here is where these lie on the screen.
/* global OpenSeadragon */

import { key, keyHeader } from "./ask.js";

// The viewer would put a style sheet of its own into the page, which the page's
// policy forbids, unless it finds one there: this looks like it and is none.
const noStyle = document.createElementNS("", "style");
noStyle.setAttribute("data-openseadragon-mobile-css", "true");
document.head.append(noStyle);

const svgNS = "http://www.w3.org/2000/svg";

export function svg(name, attributes = {}, ...children) {
  const e = document.createElementNS(svgNS, name);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}

export class Picture {
  // on: mark(index), chord(index), hover(chord or -1), place({x, y}), moved().
  constructor(element, on) {
    this.on = on;
    this.viewer = OpenSeadragon({
      element, showNavigationControl: false, showNavigator: false,
      loadTilesWithAjax: true, drawer: "canvas", imageLoaderLimit: 4, timeout: 120000,
      animationTime: matchMedia("(prefers-reduced-motion: reduce)").matches ? 0 : 0.4,
      maxZoomPixelRatio: 8, visibilityRatio: 0.4,
      gestureSettingsMouse: { clickToZoom: false, dblClickToZoom: true },
      gestureSettingsTouch: { clickToZoom: false, dblClickToZoom: true },
    });
    this.group = svg("g");
    this.aim = svg("g", { class: "aimed", visibility: "hidden" });
    this.layer = svg("svg", { class: "found", "aria-hidden": "true" }, this.group, this.aim);
    this.viewer.canvas.append(this.layer);
    this.viewer.canvas.setAttribute("role", "application");
    this.viewer.canvas.setAttribute("aria-label", "The picture. Arrow keys move it, plus and minus zoom. Circles are listed below it.");
    this.labels = [];
    this.size = 0; // px of the picture, of the circle that is added
    for (const event of ["update-viewport", "open", "resize", "animation"]) {
      this.viewer.addHandler(event, () => this.place());
    }
    this.viewer.addHandler("canvas-key", (e) => {
      if (["r", "R", "f", "F"].includes(e.originalEvent.key)) e.preventDefaultAction = true;
    });
    this.viewer.addHandler("canvas-click", (e) => e.quick && this.clicked(e));
    this.layer.addEventListener("pointerover", (e) => this.on.hover(chordOf(e.target)));
    this.layer.addEventListener("pointerout", () => this.on.hover(-1));
  }

  // open shows another picture.
  open(view) {
    this.labels = [];
    this.group.replaceChildren();
    const headers = { [keyHeader]: key() };
    this.width = view.Width;
    this.height = view.Height;
    this.opened = false;
    this.viewer.addOnceHandler("open", () => {
      this.opened = true;
      // It was made while the page had no room for it.
      const room = this.viewer.container;
      this.viewer.viewport.resize(new OpenSeadragon.Point(room.clientWidth, room.clientHeight), false);
      this.viewer.viewport.goHome(true);
      this.viewer.element.dataset.open = view.ID;
      this.place();
    });
    this.viewer.open({
      ajaxHeaders: headers, loadTilesWithAjax: true,
      tileSource: {
        width: view.Width, height: view.Height, tileSize: view.Tile,
        minLevel: Math.min(8, view.Levels - 1), maxLevel: view.Levels - 1,
        getTileUrl: (level, x, y) => `/api/files/${view.ID}/tile/${level}/${x}/${y}?page=${view.Page}`,
      },
    });
  }

  // draw puts the shapes of a scene over the picture.
  draw(scene, title) {
    this.labels = [];
    const all = [];
    if (scene.Pitch) all.push(outline(scene.Pitch, "pitch"));
    if (scene.Centre && scene.Zero) {
      all.push(svg("path", { class: "zeroline", d: `M${scene.Centre}L${scene.Zero}` }));
      all.push(this.text("+", scene.Centre[0], scene.Centre[1]));
    }
    const chords = scene.Chords.map((c, i) => {
      const d = `M${c.X1},${c.Y1}L${c.X2},${c.Y2}`;
      return svg("g", { class: "chord", "data-chord": i }, svg("path", { class: "shape", d }), svg("path", { class: "hit", d }));
    });
    // What is wanted most often comes last, so that it is met first.
    const order = ["left", "rim", "bore", "outer", "off", "hole"];
    const marks = [...scene.Marks].sort((a, b) => order.indexOf(a.Role) - order.indexOf(b.Role) || b.Shape.R - a.Shape.R);
    const shape = (m) => svg("g", { class: `mark ${m.Role}`, "data-mark": m.Index }, outline(m.Shape, "shape"), outline(m.Shape, "hit"));
    all.push(...marks.filter((m) => m.Role === "left").map(shape), ...chords, ...marks.filter((m) => m.Role !== "left").map(shape));
    for (const m of marks) {
      if (m.Hole) all.push(this.text(m.Hole + (m.Role === "off" ? "*" : ""), m.Shape.X, m.Shape.Y));
    }
    this.points = svg("g");
    this.line = svg("g");
    all.push(this.points, this.line);
    this.group.replaceChildren(...all);
    this.layer.dataset.title = title;
    this.place();
  }

  text(what, x, y) {
    const t = svg("text", {}, String(what));
    this.labels.push([t, x, y]);
    return t;
  }

  // place moves the shapes to where the picture is now.
  place() {
    const v = this.viewer;
    if (!v.world.getItemCount()) return;
    const image = v.world.getItemAt(0);
    const at = image.imageToViewerElementCoordinates(new OpenSeadragon.Point(0, 0));
    const far = image.imageToViewerElementCoordinates(new OpenSeadragon.Point(this.width, 0));
    const k = (far.x - at.x) / this.width;
    this.k = k;
    this.group.setAttribute("transform", `matrix(${k} 0 0 ${k} ${at.x} ${at.y})`);
    for (const [t, x, y] of this.labels) t.setAttribute("transform", `translate(${x} ${y}) scale(${1 / k})`);
    for (const p of this.points ? this.points.children : []) p.setAttribute("r", 1.7 / k);
    this.drawAim();
  }

  drawAim() {
    const x = this.layer.clientWidth / 2;
    const y = this.layer.clientHeight / 2;
    this.aim.replaceChildren(
      svg("circle", { class: "aim", cx: x, cy: y, r: Math.max(2, (this.size * this.k) / 2) }),
      svg("path", { class: "aim", d: `M${x - 14},${y}H${x + 14}M${x},${y - 14}V${y + 14}` }));
  }

  // adding shows or hides the cross in the middle, with a circle as large as
  // the one that is added.
  adding(on, size) {
    this.size = size;
    this.aim.setAttribute("visibility", on ? "visible" : "hidden");
    this.layer.classList.toggle("adding", on);
    this.place();
  }

  // middle is the point of the picture under the cross.
  middle() {
    return this.toImage(new OpenSeadragon.Point(this.layer.clientWidth / 2, this.layer.clientHeight / 2));
  }

  toImage(p) {
    return this.viewer.world.getItemAt(0).viewerElementToImageCoordinates(p);
  }

  clicked(e) {
    if (this.layer.classList.contains("adding")) {
      this.on.place(this.toImage(e.position));
      return;
    }
    for (const hit of document.elementsFromPoint(e.originalEvent.clientX, e.originalEvent.clientY)) {
      const g = hit.closest?.("[data-mark], [data-chord]");
      if (!g) continue;
      if (g.dataset.mark) this.on.mark(Number(g.dataset.mark));
      else this.on.chord(Number(g.dataset.chord));
      return;
    }
  }

  select(mark, points) {
    for (const g of this.group.querySelectorAll(".mark")) g.classList.toggle("on", Number(g.dataset.mark) === mark);
    this.points?.replaceChildren(...(points || []).map(([x, y]) => svg("circle", { class: "edge", cx: x, cy: y, r: 1 })));
    this.place();
  }

  chord(index) {
    for (const g of this.group.querySelectorAll(".chord")) g.classList.toggle("on", Number(g.dataset.chord) === index);
  }

  // span shows the line between two holes, or none.
  span(ends) {
    const [a, b] = ends;
    this.line?.replaceChildren(...(a && b ? [svg("path", { class: "span", d: `M${a.X},${a.Y}L${b.X},${b.Y}` })] : []));
  }

  // reveal brings a circle into view where it is not.
  reveal(shape) {
    if (!this.opened) return;
    const v = this.viewer.viewport;
    const at = this.viewer.world.getItemAt(0).imageToViewportCoordinates(shape.X, shape.Y);
    if (!v.getBounds().containsPoint(at)) v.panTo(at);
  }

  zoom(by) {
    this.viewer.viewport.zoomBy(by);
    this.viewer.viewport.applyConstraints();
  }

  whole() {
    this.viewer.viewport.goHome();
  }
}

function outline(s, name) {
  if (s.Loop) return svg("polygon", { class: name, points: s.Loop.join(" ") });
  return svg("circle", { class: name, cx: s.X, cy: s.Y, r: s.R });
}

function chordOf(e) {
  const g = e.closest?.("[data-chord]");
  return g ? Number(g.dataset.chord) : -1;
}
