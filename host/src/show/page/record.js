// The page of a recording: what comes as events takes its place; buttons and forms go to the server.
import { post } from "/assets/post.js";

const at = (id) => document.getElementById(id);
const live = at("live"), setup = at("setup"), soFar = at("so-far"), lag = at("lag");
const TYPED = ["ramp_angle_deg", "taped_left_mm", "taped_right_mm", "load_n"];
let missed = 0;

// Words are put in place only where they are new: a screen reader would read them again.
function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function state(told) {
  const runs = told.course === "begins" || told.course === "records";
  document.body.dataset.course = told.course;
  live.hidden = told.course === "none";
  setup.hidden = runs;
  say(at("headline"), told.headline);
  say(at("instruction"), told.instruction);
  say(at("trouble"), told.trouble);
  say(at("next"), runs ? told.next : "");
  say(at("advice"), told.advice);
  say(at("place"), told.place);
  say(at("counts"), told.counts);
  for (const button of live.querySelectorAll("button[data-do]")) {
    button.disabled = button.dataset.do === "stop" ? !runs : told.course !== "records";
  }
  live.querySelector(".keys").hidden = !runs;
  at("note-form").hidden = told.course !== "records";
  at("after").hidden = !told.page;
  if (told.page) at("run-page").href = told.page;
  sensors(told.sensors);
}

function sensors(list) {
  const place = at("sensors");
  if (place.children.length !== list.length) {
    place.replaceChildren(...list.map(() => {
      const pair = document.createElement("div");
      pair.append(document.createElement("dt"), document.createElement("dd"));
      return pair;
    }));
  }
  list.forEach((sensor, k) => {
    const pair = place.children[k];
    say(pair.firstElementChild, sensor.name);
    say(pair.lastElementChild, sensor.reading);
    pair.classList.toggle("silent", sensor.silent);
  });
}

const stream = new EventSource("/record/events");
stream.addEventListener("state", (event) => state(JSON.parse(event.data)));
stream.addEventListener("numbers", (event) => {
  const html = JSON.parse(event.data);
  soFar.hidden = html === "";
  at("numbers").innerHTML = html;
});
stream.addEventListener("missed", (event) => {
  missed += Number(event.data);
  lag.textContent = `This page was too slow for ${missed} updates. What it shows is the latest, and the recording has everything.`;
  lag.hidden = false;
});
stream.addEventListener("error", () => {
  lag.textContent = "The server does not answer; this page tries again. What was recorded is kept.";
  lag.hidden = false;
});
stream.addEventListener("open", () => {
  if (missed === 0) lag.hidden = true;
});

async function send(path, body) {
  try {
    await post(path, body);
    say(at("refused"), "");
    return true;
  } catch (error) {
    say(setup.hidden ? at("trouble") : at("refused"), error.message);
    return false;
  }
}

for (const button of live.querySelectorAll("button[data-do]")) {
  button.addEventListener("click", () => send("/record/command", { do: button.dataset.do }));
}
at("note-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const field = event.target.elements.text;
  if (field.value.trim() && await send("/record/command", { do: "note", text: field.value })) field.value = "";
});
// Each vehicle has sensors of its own.
const absent = [...document.querySelectorAll("fieldset.without")];
function sensorsOf(vehicle) {
  for (const fieldset of absent) fieldset.hidden = fieldset.dataset.vehicle !== vehicle;
}
const vehicle = at("start").elements.vehicle;
vehicle.addEventListener("change", () => sensorsOf(vehicle.value));
sensorsOf(vehicle.value);
at("start").addEventListener("submit", (event) => {
  event.preventDefault();
  const field = event.target.elements;
  send("/record/start", {
    vehicle: field.vehicle.value,
    port: field.port.value,
    test: field.test.value,
    plan: field.plan.value,
    ...Object.fromEntries(TYPED.map((name) => [name, field[name].value === "" ? null : Number(field[name].value)])),
    without: [...document.querySelectorAll("fieldset.without:not([hidden]) input:checked")].map((box) => box.value),
    notes: field.notes.value,
  });
});
