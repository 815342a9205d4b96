// The page: it puts in place what the desk says, and tells the desk what is
// done. Nothing is measured or computed here.

import { ask, key, setKey, Refused } from "./ask.js";
import { Picture, svg } from "./picture.js";

const $ = (id) => document.getElementById(id);

function h(name, attributes = {}, ...children) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) {
    if (k.startsWith("on")) e.addEventListener(k.slice(2), v);
    else if (v !== false) e.setAttribute(k, v === true ? "" : v);
  }
  e.append(...children);
  return e;
}

let shelf = []; // the files on the desk
let now = null; // the ID of the one that is looked at
let view = null; // what is shown of it
let mark = -1; // the circle that was chosen
let watching = null; // ends the waiting for news
let addSize = 0;
let drawn = ""; // the address of the drawing

const picture = new Picture($("viewer"), {
  mark: (i) => choose(i, false),
  chord: (i) => light(i, true),
  hover: (i) => light(i, false),
  place: (p) => addAt(p),
});

function say(text) {
  $("status").textContent = text;
}

function refuse(error) {
  if (error.name === "AbortError") return;
  if (error instanceof Refused && error.status === 401) {
    locked();
    return;
  }
  $("refusal").textContent = error.message;
  say("");
}

function calm() {
  $("refusal").textContent = "";
}

// locked asks for the code that the terminal shows.
function locked() {
  document.body.classList.add("empty", "locked");
  $("enter").hidden = false;
  for (const id of ["welcome", "look", "told"]) $(id).hidden = true;
  $("code").focus();
}

$("enter").addEventListener("submit", async (e) => {
  e.preventDefault();
  try {
    setKey((await ask("POST", "enter", { Code: $("code").value })).Key);
    $("enter").hidden = true;
    document.body.classList.remove("locked");
    $("enter-refusal").textContent = "";
    await start();
  } catch (error) {
    $("enter-refusal").textContent = error.message;
  }
});

// ---- files ----

async function start() {
  if (!key()) {
    locked();
    return;
  }
  try {
    shelf = await ask("GET", "files");
    $("welcome").hidden = shelf.length > 0;
    if (shelf.length) open(shelf.at(-1).ID);
  } catch (error) {
    refuse(error);
  }
}

function drawShelf() {
  $("shelf").replaceChildren(...shelf.map((f) => h("span", { class: "tab" + (f.ID === now ? " now" : "") },
    h("button", { class: "name", "aria-current": f.ID === now && "true", onclick: () => open(f.ID) }, f.Name),
    h("button", { class: "close", "aria-label": `Close ${f.Name}`, onclick: () => close(f.ID) }, "×"))));
}

// upload puts files on the desk, one after the other; the last is looked at.
async function upload(files) {
  calm();
  const refusals = [];
  let last = null;
  for (const [i, file] of [...files].entries()) {
    say(files.length > 1 ? `Taking ${file.name} in, ${i + 1} of ${files.length} …` : `Taking ${file.name} in …`);
    try {
      const entry = await ask("POST", "files?name=" + encodeURIComponent(file.name), file);
      shelf.push(entry);
      last = entry;
      drawShelf();
    } catch (error) {
      if (error.status === 401) return refuse(error);
      refusals.push(error.message);
    }
  }
  say("");
  if (last) open(last.ID);
  if (refusals.length) refuse(new Refused(refusals.join(" — ")));
}

async function close(id) {
  try {
    await ask("DELETE", "files/" + id);
  } catch (error) {
    if (error.status !== 404) return refuse(error);
  }
  shelf = shelf.filter((f) => f.ID !== id);
  if (now === id) {
    watching?.abort();
    now = view = null;
    for (const part of ["look", "told"]) $(part).hidden = true;
    document.body.classList.add("empty");
    history_();
    if (shelf.length) return open(shelf.at(-1).ID);
    $("welcome").hidden = false;
    $("files").focus();
  }
  drawShelf();
}

// open looks at a file, and goes on to as there is news of it.
async function open(id) {
  watching?.abort();
  const stop = new AbortController();
  watching = stop;
  now = id;
  view = null;
  mark = -1;
  calm();
  drawShelf();
  $("welcome").hidden = true;
  const name = shelf.find((f) => f.ID === id)?.Name || "";
  try {
    for (let known = 0; ;) {
      const news = await ask("GET", `files/${id}?known=${known}`, undefined, stop.signal);
      known = news.Version;
      switch (news.State) {
        case "waiting":
          say(news.Ahead ? `${name} waits: ${news.Ahead} before it.` : `${name} waits.`);
          break;
        case "reading":
          say(`Looking for circles in ${name} …`);
          break;
        case "refused":
          for (const part of ["look", "told"]) $(part).hidden = true;
          document.body.classList.add("empty");
          $("welcome").hidden = false;
          refuse(new Refused(news.Refusal));
          return;
        default:
          say("");
          show(news.View);
          return;
      }
    }
  } catch (error) {
    refuse(error);
  }
}

// ---- what is shown ----

function show(v) {
  const other = !view || view.ID !== v.ID || view.Page !== v.Page;
  view = v;
  document.body.classList.remove("empty");
  $("look").hidden = $("told").hidden = false;
  for (const id of ["viewer", "tools", "legend", "circle-panel"]) $(id).hidden = !v.Picture;
  $("known-panel").hidden = $("command-panel").hidden = !v.Picture;
  $("page").hidden = !(v.Pages > 1);
  $("pages").textContent = `Page, of ${v.Pages}`;
  document.querySelector("[data-what=overlay]").hidden = !v.Picture;
  $("sketch").hidden = v.Picture;
  if (v.Picture) {
    if (other) {
      picture.open(v);
      stopAdding();
      addSize = v.AddDiameter;
    }
    picture.draw(v.Scene, v.Name);
    const used = new Set(v.Scene.Marks.map((m) => m.Role));
    for (const li of $("legend").children) li.hidden = !used.has(li.className);
  }
  told(v);
  circles(v, other);
  tables(v);
  said(v);
  if (other) guesses(v);
  history_();
  document.title = `${v.Name} · boltrose desk`;
  document.body.dataset.shown = v.ID;
}

function told(v) {
  const s = v.Sheet;
  $("title").textContent = s ? s.Title : `${v.Name}: no reading yet`;
  const words = s ? s.Verdict.map((t) => h("p", {}, t)) : [h("p", { class: "try" }, v.Refusal)];
  if (v.Unscaled) words.push(h("p", {}, "The holes have numbers. Give the scan's resolution, or the distance between two of them, below."));
  if (v.Try) words.push(h("p", {}, v.Try));
  const facts = s ? [...s.Facts, ...(s.Bolts ? [{ Name: "Bolts", Text: s.Bolts }] : []), ...(s.Features || [])] : [];
  $("words").replaceChildren(...words, h("dl", { class: "facts" }, ...pairs(facts)));
  const notes = [...(v.Notes || []).map((t) => h("p", { class: "warning" }, t))];
  for (const w of s?.Warnings || []) notes.push(h("p", { class: "warning" }, "Warning: " + w));
  if (s) notes.push(h("p", { class: "small" }, s.Known));
  $("notes").replaceChildren(...notes);
  for (const id of ["holes-panel", "chords-panel", "thread-panel", "mate-panel", "take-panel", "budget-panel", "drawing-panel"]) $(id).hidden = !s;
  $("command").textContent = v.Command;
  if (!s) return;
  $("hole-notes").replaceChildren(...[s.OffCircle && "* " + s.OffCircle, ...(s.HoleNotes || [])].filter(Boolean).map((t) => h("p", {}, t)));
  $("causes-of").textContent = v.Causes ? `Of the ${v.Causes.Of}; each cause alone, k = 2. The squares add up.` : "";
  $("causes").replaceChildren(...(v.Causes ? v.Causes.Terms : []).map((c, i) => h("li", {}, `${c.Name}  ${c.Text}`,
    svg("svg", { viewBox: "0 0 100 5", preserveAspectRatio: "none", "aria-hidden": "true" }, svg("rect", { width: 100 * v.Bars[i], height: 5 })))));
  $("budget").textContent = v.Budget;
  if (drawn) URL.revokeObjectURL(drawn);
  drawn = v.Drawing ? URL.createObjectURL(new Blob([v.Drawing], { type: "image/svg+xml" })) : "";
  $("drawing-panel").hidden = !drawn || !v.Picture;
  $("drawing").src = drawn;
  if (!v.Picture) $("sketch").replaceChildren(h("img", { src: drawn, alt: "The holes as they are drawn, looking at the face" }));
}

function pairs(facts) {
  return facts.flatMap((f) => [h("dt", {}, f.Name), h("dd", {}, f.Text)]);
}

const plain = { outer: "chamfer or counterbore", bore: "bore", rim: "rim", left: "left out" };

function nameOf(m) {
  return m.Hole ? `Hole ${m.Hole}` : `${m.Name}, ${plain[m.Role] || "hole"}`;
}

// circles lists every circle that was seen.
function circles(v, other) {
  if (!v.Picture) return;
  const marks = v.Scene.Marks;
  $("circle").replaceChildren(h("option", { value: -1 }, `none of the ${marks.length}`), ...marks.map((m) => h("option", { value: m.Index }, nameOf(m))));
  if (other || !marks.some((m) => m.Index === mark)) mark = -1;
  choose(mark, false);
}

async function choose(index, reveal) {
  mark = index;
  const m = view.Scene.Marks.find((o) => o.Index === index);
  $("circle").value = index;
  $("why").textContent = m ? m.Why + "." : "Choose a circle to see what was measured of it, and why it was taken or left.";
  $("facts").replaceChildren(...(m ? pairs(m.Facts) : []));
  const hole = m && m.Hole > 0;
  $("drop").hidden = !m || m.Role === "left";
  $("drop").textContent = m && !hole ? "Leave this circle out: drop it" : "This is no hole: drop it";
  $("take").hidden = !m || hole;
  $("zero").hidden = !hole || !view.Sheet;
  for (const row of $("holes").querySelectorAll("tr[data-hole]")) row.classList.toggle("on", hole && Number(row.dataset.hole) === m.Hole);
  picture.select(index, null);
  if (!m) return;
  if (reveal) picture.reveal(m.Shape);
  const asked = view;
  try {
    const points = await ask("GET", `files/${view.ID}/edge/${index}`);
    if (asked === view && mark === index) picture.select(index, points);
  } catch (error) {
    refuse(error);
  }
}

function step(by) {
  const all = [...$("circle").options].map((o) => Number(o.value));
  const at = all.indexOf(mark);
  choose(all[(at + by + all.length) % all.length], true);
}

function fill(t, row) {
  return h("table", {}, h("thead", {}, h("tr", {}, ...t.Heads.map((x) => h("th", { scope: "col" }, x)))), h("tbody", {}, ...t.Rows.map(row)));
}

function tables(v) {
  if (!v.Sheet) return;
  const byHole = new Map(v.Picture ? v.Scene.Marks.filter((m) => m.Hole).map((m) => [m.Hole, m.Index]) : []);
  $("holes").replaceChildren(fill(v.Holes, ([id, ...cells]) => {
    const n = parseInt(id);
    const name = byHole.has(n) ? h("button", { "aria-label": `Hole ${id}`, onclick: () => choose(byHole.get(n), true) }, id) : id;
    return h("tr", { "data-hole": n }, h("th", { scope: "row" }, name), ...cells.map((c) => h("td", {}, c)));
  }));
  // A row shows its line in the picture: show(true) when it is pointed at.
  const row = (label, show, keep) => (cells, i) => {
    const on = () => show(i, true), off = () => show(i, false);
    const name = v.Picture ? h("button", { "aria-label": `${label} ${cells[0]}`, onfocus: on, onblur: off, onclick: () => keep?.(i) }, cells[0]) : cells[0];
    const tr = h("tr", { "data-chord": i }, h("th", { scope: "row" }, name), ...cells.slice(1).map((c) => h("td", {}, c)));
    if (v.Picture) {
      tr.addEventListener("pointerenter", on);
      tr.addEventListener("pointerleave", off);
    }
    return tr;
  };
  const gap = row("Show the chord", (i, on) => light(on ? i : -1, false), (i) => light(i, true));
  const places = new Map(v.Picture ? v.Scene.Marks.filter((m) => m.Hole).map((m) => [m.Hole, m.Shape]) : []);
  const pair = row("Show the line", (i, on) => picture.span(on ? v.PairEnds[i].map((n) => places.get(n)) : []));
  const gaps = v.Gaps.Heads?.length > 0;
  $("chords-panel").hidden = !gaps && !v.Pairs.Heads?.length;
  $("chords").replaceChildren(...(gaps ? [fill(v.Gaps, gap)] : []));
  $("pairs-more").hidden = !v.Pairs.Heads?.length;
  $("pairs").replaceChildren(...(v.Pairs.Heads?.length ? [fill(v.Pairs, pair)] : []));
  if (!gaps) $("pairs-more").open = true;
}

// light shows a chord in the picture and its row in the table.
function light(index, keep) {
  if (!view?.Sheet || !view.Picture) return;
  if (index < 0 && light.kept >= 0) index = light.kept;
  if (keep) light.kept = light.kept === index ? -1 : index;
  picture.chord(index);
  for (const tr of $("chords").querySelectorAll("tr[data-chord]")) {
    const on = Number(tr.dataset.chord) === index;
    tr.classList.toggle("on", on);
    if (on && keep) tr.scrollIntoView({ block: "nearest" });
  }
}
light.kept = -1;

// ---- corrections ----

// said lists what was corrected.
function said(v) {
  if (!v.Picture) return;
  for (const field of $("know").elements) {
    if (!field.name) continue;
    const value = v.Flags[field.name] || "";
    if (field.type === "checkbox") field.checked = value !== "";
    else field.value = value;
  }
  $("said").replaceChildren(
    ...(v.Known || []).map((text, at) => h("li", {}, text, h("button", { "aria-label": `Remove ${text}`, onclick: () => edit({ Do: "unknown", At: at }) }, "Remove"))),
    ...(v.Corrections || []).map((text) => h("li", {}, text)));
  $("reset").hidden = !v.Undo;
}

function history_() {
  $("undo").disabled = !view?.Undo;
  $("redo").disabled = !view?.Redo;
}

let turn = Promise.resolve(); // edits are made one after the other

function edit(what) {
  turn = turn.then(async () => {
    if (!view) return false;
    calm();
    try {
      const news = await ask("POST", `files/${view.ID}/edit`, what);
      if (news.View?.ID === now) show(news.View);
      return true;
    } catch (error) {
      refuse(error);
      return false;
    }
  });
  return turn;
}

function addAt(p) {
  edit({ Do: "add", X: p.x, Y: p.y, D: addSize }).then((done) => done && stopAdding());
}

function startAdding() {
  $("adding").hidden = false;
  $("add").setAttribute("aria-pressed", "true");
  $("add-size").min = 4;
  $("add-size").max = Math.max(400, 4 * addSize);
  $("add-size").value = addSize;
  picture.adding(true, addSize);
  picture.viewer.canvas.focus();
}

function stopAdding() {
  $("adding").hidden = true;
  $("add").setAttribute("aria-pressed", "false");
  picture.adding(false, addSize);
}

$("add").addEventListener("click", () => ($("adding").hidden ? startAdding() : stopAdding()));
$("add-stop").addEventListener("click", stopAdding);
$("add-here").addEventListener("click", () => addAt(picture.middle()));
$("add-size").addEventListener("input", () => {
  addSize = Number($("add-size").value);
  picture.adding(true, addSize);
});
$("drop").addEventListener("click", () => edit({ Do: "drop", Mark: mark }));
$("take").addEventListener("click", () => edit({ Do: "hole", Mark: mark }));
$("zero").addEventListener("click", () => edit({ Do: "zero", Mark: mark }));
$("undo").addEventListener("click", () => edit({ Do: "undo" }));
$("redo").addEventListener("click", () => edit({ Do: "redo" }));
$("reset").addEventListener("click", () => edit({ Do: "reset" }));
$("circle").addEventListener("change", () => choose(Number($("circle").value), true));
$("previous").addEventListener("click", () => step(-1));
$("next").addEventListener("click", () => step(1));
$("zoom-in").addEventListener("click", () => picture.zoom(1.5));
$("zoom-out").addEventListener("click", () => picture.zoom(1 / 1.5));
$("whole").addEventListener("click", () => picture.whole());
$("show-left").addEventListener("change", () => picture.layer.classList.toggle("no-left", !$("show-left").checked));

$("know").addEventListener("submit", (e) => {
  e.preventDefault();
  edit({ Do: "set", Flags: flagsOf($("know")) });
});
$("know").addEventListener("change", (e) => {
  if (e.target.matches("select, [type=checkbox]")) edit({ Do: "set", Flags: flagsOf($("know")) });
});
$("measure").addEventListener("submit", async (e) => {
  e.preventDefault();
  const f = $("measure").elements;
  if (await edit({ Do: "known", From: Number(f.from.value), To: Number(f.to.value), Value: f.value.value })) $("measure").reset();
});

function flagsOf(form) {
  const flags = {};
  for (const field of form.elements) {
    if (field.name && field.type !== "file") flags[field.name] = field.type === "checkbox" && !field.checked ? "" : field.value;
  }
  return flags;
}

// ---- will it go on, and files ----

function guesses(v) {
  const f = $("mate").elements;
  f.pcd.value = v.PCD;
  f.holes.value = v.HoleCount || "";
  $("mated").hidden = $("threaded").hidden = $("guarded").hidden = true;
}

// answer shows what a command says of the reading.
async function answer(where, what, flags, part) {
  calm();
  where.hidden = true;
  try {
    const { Said, Bolt } = await ask("POST", `files/${view.ID}/make`, { What: what, Flags: flags, ...(part && { Part: part }) });
    where.textContent = Said;
    where.hidden = false;
    say("");
    return Bolt;
  } catch (error) {
    refuse(error);
    return "";
  }
}

$("mate").addEventListener("submit", async (e) => {
  e.preventDefault();
  const flags = flagsOf($("mate"));
  const file = $("mate").elements.part.files[0];
  if (flags.clearance) delete flags.fit;
  if (file) for (const name of ["pcd", "holes", "angles"]) delete flags[name];
  else for (const name of ["diameter", "layer", "drawing-units"]) delete flags[name];
  if (flags.angles) delete flags.holes;
  say("Trying whether it goes on …");
  answer($("mated"), "mate", flags, file && { Name: file.name, Text: await file.text() });
});

// A part that is given itself needs no pitch circle; a drawing has more to be
// said of.
$("mate").elements.part.addEventListener("change", () => {
  const f = $("mate").elements;
  const name = f.part.files[0]?.name.toLowerCase() || "";
  f.pcd.required = !name;
  const drawing = name.endsWith(".dxf");
  for (const e of $("mate").querySelectorAll("[data-drawing]")) e.hidden = !drawing;
  if (drawing !== (f.fit.value === "")) f.fit.value = drawing ? "" : "normal";
});

$("thread").addEventListener("submit", async (e) => {
  e.preventDefault();
  say("Looking which thread it is …");
  const bolt = await answer($("threaded"), "thread", flagsOf($("thread")));
  if (!bolt) return;
  for (const form of ["mate", "draw", "guard"]) $(form).elements.bolt.value = bolt;
  say(`${bolt} is taken below.`);
});

for (const button of document.querySelectorAll("[data-form]")) {
  button.addEventListener("click", () => take(button));
}

async function take(button) {
  calm();
  const { what, form } = button.dataset;
  const flags = what === "draw" || what === "guard" ? flagsOf($(what)) : {};
  if (what === "draw") {
    if (!form.endsWith("pdf")) delete flags.paper;
    if (form !== "pdf") delete flags.printed;
  }
  button.disabled = true;
  say(`Making ${button.textContent.trim().replace(/\s+/g, " ")} …`);
  try {
    const answer = await ask("POST", `files/${view.ID}/make`, { What: what, Form: form, Flags: flags });
    const name = decodeURIComponent(/filename\*?=(?:utf-8'')?"?([^";]+)/i.exec(answer.headers.get("Content-Disposition"))?.[1] || "file." + form);
    const said = answer.headers.get("Boltrose-Said");
    if (what === "guard" && said) {
      $("guarded").textContent = decodeURIComponent(said);
      $("guarded").hidden = false;
    }
    const url = URL.createObjectURL(await answer.blob());
    h("a", { href: url, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
    say(`${name} is made.`);
  } catch (error) {
    refuse(error);
  } finally {
    button.disabled = false;
    button.focus();
  }
}

// ---- keys, dropping, choosing files ----

addEventListener("keydown", (e) => {
  const typing = e.target.matches("input:not([type=checkbox]):not([type=range]), textarea");
  if ((e.ctrlKey || e.metaKey) && !typing) {
    const k = e.key.toLowerCase();
    const what = k === "z" ? (e.shiftKey ? "redo" : "undo") : k === "y" ? "redo" : "";
    if (what && !$(what).disabled) edit({ Do: what });
    if (what) e.preventDefault();
  }
  if (e.key === "Escape" && !$("adding").hidden) stopAdding();
  if (e.key === "Enter" && !$("adding").hidden && picture.viewer.canvas.contains(e.target)) addAt(picture.middle());
});

$("files").addEventListener("change", () => {
  upload([...$("files").files]);
  $("files").value = "";
});
addEventListener("dragover", (e) => {
  e.preventDefault();
  document.body.classList.add("over");
});
addEventListener("dragleave", (e) => e.relatedTarget || document.body.classList.remove("over"));
addEventListener("drop", (e) => {
  e.preventDefault();
  document.body.classList.remove("over");
  upload([...e.dataTransfer.files]);
});

// The picture is printed as it is on the screen, made to fit the paper.
const paperWidth = 680; // CSS pixels of A4 and Letter between their margins
addEventListener("beforeprint", () => {
  const { clientWidth, clientHeight, style } = $("viewer");
  style.width = clientWidth + "px";
  style.height = clientHeight + "px";
  style.zoom = Math.min(1, paperWidth / clientWidth);
});
addEventListener("afterprint", () => $("viewer").removeAttribute("style"));

start();
