// The drawing board: what sliders say goes to the server, what it answers takes the place of numbers and drawings.
import { turns } from "/assets/turn.js";
import { post } from "/assets/post.js";

const board = document.getElementById("board");
const [turn] = turns();
const handles = [...document.querySelectorAll("fieldset.handle")].map(handle);
const states = ["heave", "roll"].map((id) => document.getElementById(id));
// How long a hand may rest before the ± is worked out, ms.
const REST = 250;
let busy = false, waiting = false, resting = null, began = null;

function handle(fieldset) {
  const select = fieldset.querySelector("select");
  const sliders = [...fieldset.querySelectorAll("input[type=range]")];
  const holes = JSON.parse(fieldset.dataset.holes);
  const drawn = select ? Number(select.dataset.drawn) : 0;
  return {
    fieldset, select, sliders, holes, drawn,
    hole: () => (select ? Number(select.value) : 0),
    offset: () => sliders.map((slider) => Number(slider.value)),
    at() { return this.offset().map((by, k) => this.holes[this.hole()][k] + by); },
    moved() { return this.hole() !== this.drawn || this.offset().some((by) => by !== 0); },
  };
}

const short = (value) => String(Math.round(value * 1000) / 1000);

function tellPlaces() {
  const list = document.getElementById("to-write");
  const moved = handles.filter((h) => h.moved());
  for (const h of handles) h.at().forEach((value, k) => {
    const slider = h.sliders[k];
    document.getElementById(`${slider.id}-at`).value = short(value);
    slider.setAttribute("aria-valuetext", `${short(value)}, moved by ${slider.value}`);
  });
  for (const slider of states) slider.nextElementSibling.value = short(Number(slider.value));
  list.replaceChildren(...moved.map((h) => {
    const item = document.createElement("li");
    const hole = h.select ? `, hole ${h.hole() + 1}` : "";
    item.textContent = `${h.fieldset.dataset.name}${hole}: [${h.at().map(short).join(", ")}]`;
    return item;
  }));
  document.getElementById("unchanged").hidden = moved.length > 0;
}

function asked(rests) {
  return {
    axle: Number(board.dataset.axle),
    changes: handles.map((h, k) => [h, k]).filter(([h]) => h.moved()).map(([h, k]) => ({
      handle: k,
      hole: h.hole(),
      offset_m: h.offset().map((by) => by / Number(h.fieldset.dataset.perM)),
    })),
    heave_m: Number(states[0].value) / Number(states[0].dataset.perM),
    roll_rad: (Number(states[1].value) * Math.PI) / 180,
    rests,
  };
}

// What stands there already is left alone: the browser has nothing to lay out and paint for it.
const stands = new Map();
function set(id, html) {
  if (stands.get(id) === html) return;
  stands.set(id, html);
  document.getElementById(id).innerHTML = html;
}

function put(redrawn, rests) {
  set("first", redrawn.first);
  set("binds", redrawn.binds);
  set("numbers", redrawn.numbers);
  redrawn.drawings.forEach((svg, k) => set(`view-${k}`, svg));
  turn.show(JSON.parse(redrawn.model));
  if (rests) document.getElementById("told").textContent = redrawn.told;
}

function trouble(error) {
  const place = document.getElementById("trouble");
  place.textContent = error ? error.message : "";
  place.hidden = !error;
}

const redraw = (rests, signal) => post(`/design/${board.dataset.vehicle}/redraw`, asked(rests), signal);

// One question at a time while a hand moves; what it does meanwhile is asked in one go when the answer is there.
async function ask() {
  if (busy) {
    waiting = true;
    return;
  }
  busy = true;
  const from = began ?? performance.now();
  began = null;
  try {
    put(await redraw(false), false);
    trouble(null);
    board.dataset.tookMs = `${board.dataset.tookMs ?? ""} ${(performance.now() - from).toFixed(1)}`.trim();
  } catch (error) {
    trouble(error);
  }
  busy = false;
  if (waiting) {
    waiting = false;
    ask();
  } else {
    clearTimeout(resting);
    resting = setTimeout(rest, REST);
  }
}

// The ± takes longer than a hand waits: when that moves on, nobody waits for it.
let unsure = null;
async function rest() {
  const question = (unsure = new AbortController());
  try {
    const redrawn = await redraw(true, question.signal);
    if (question.signal.aborted) return;
    put(redrawn, true);
    trouble(null);
  } catch (error) {
    if (!question.signal.aborted) trouble(error);
  }
}

function touched() {
  began ??= performance.now();
  clearTimeout(resting);
  unsure?.abort();
  tellPlaces();
  ask();
}

for (const h of handles) {
  for (const slider of h.sliders) slider.addEventListener("input", touched);
  h.select?.addEventListener("change", touched);
}
for (const slider of states) slider.addEventListener("input", touched);
document.getElementById("back-to-drawing").addEventListener("click", () => {
  for (const h of handles) {
    for (const slider of h.sliders) slider.value = 0;
    if (h.select) h.select.value = h.drawn;
  }
  touched();
});
tellPlaces();
