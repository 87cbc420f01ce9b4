// What a page owes whoever uses a keyboard, a screen reader or a small screen; returns its faults in words.
// Contrast is that of WCAG 2.1: 1.4.3 for text; names, roles and relations are those of 1.3.1, 2.4 and 4.1.2.
const faults = [];
const shown = (e) => {
  const box = e.getBoundingClientRect(), style = getComputedStyle(e);
  return box.width > 0 && box.height > 0 && style.visibility !== "hidden" && !e.closest("[hidden]");
};
const told = (e) => `${e.tagName.toLowerCase()}${e.id ? "#" + e.id : ""} "${(e.textContent || "").trim().slice(0, 40)}"`;
const all = (selector) => [...document.querySelectorAll(selector)];

if (!document.documentElement.lang) faults.push("the page has no language");
if (!document.title) faults.push("the page has no title");
for (const [selector, count] of [["main", 1], ["body > header", 1], ["body > footer", 1], ["a.skip", 1]]) {
  if (all(selector).length !== count) faults.push(`${all(selector).length} of ${selector}`);
}
for (const nav of all("nav")) if (!nav.getAttribute("aria-label")) faults.push("a nav without a name");
if (!all("h1").length) faults.push("no h1");
let level = 0;
for (const heading of all("h1,h2,h3,h4").filter(shown)) {
  const own = Number(heading.tagName[1]);
  if (own > level + 1 && level > 0) faults.push(`heading leaps from h${level} to ${told(heading)}`);
  level = own;
}

const ids = all("[id]").map((e) => e.id);
for (const id of new Set(ids.filter((id, k) => ids.indexOf(id) !== k))) {
  // A drawing is on the page twice, for wide and for narrow screens; only one of them is shown.
  if (document.getElementById(id).closest("svg") === null) faults.push(`two elements are #${id}`);
}
for (const name of ["for", "aria-labelledby", "aria-describedby", "list"]) {
  for (const e of all(`[${name}]`)) {
    for (const id of e.getAttribute(name).split(/\s+/)) {
      if (!document.getElementById(id)) faults.push(`${told(e)}: ${name} leads to no #${id}`);
    }
  }
}

for (const e of all("a[href],button,input:not([type=hidden]),select,textarea,summary,[role=img],[tabindex='0']").filter(shown)) {
  const labels = e.labels ? [...e.labels].map((l) => l.textContent.trim()).join("") : "";
  const by = (e.getAttribute("aria-labelledby") || "").split(/\s+/).filter(Boolean)
    .map((id) => document.getElementById(id)?.textContent.trim() ?? "").join("");
  const own = ["A", "BUTTON", "SUMMARY", "PRE"].includes(e.tagName) ? e.textContent.trim() : "";
  if (!(labels || by || own || e.getAttribute("aria-label"))) faults.push(`${told(e)} has no name`);
}
for (const e of all("button,select,input:not([type=checkbox]):not([type=hidden]),nav a").filter(shown)) {
  const box = e.getBoundingClientRect();
  if (box.height < 40) faults.push(`${told(e)} is ${box.height.toFixed(0)} px high: too small for a finger`);
}
for (const th of all("table th")) if (!th.getAttribute("scope")) faults.push(`${told(th)} says not what it heads`);

const channel = (c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
const parsed = (text) => (text.match(/[\d.]+/g) || []).map(Number);
const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
const ground = (e) => {
  for (let at = e; at; at = at.parentElement) {
    const colour = parsed(getComputedStyle(at).backgroundColor);
    if (colour.length < 4 || colour[3] > 0) return colour;
  }
  return [255, 255, 255];
};
const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
const seen = new Set();
while (texts.nextNode()) {
  const e = texts.currentNode.parentElement;
  if (!texts.currentNode.textContent.trim() || seen.has(e) || !shown(e) || e.closest("svg,option,.skip,noscript,:disabled")) continue;
  seen.add(e);
  const style = getComputedStyle(e);
  const [a, b] = [luminance(parsed(style.color)), luminance(ground(e))];
  const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  const size = parseFloat(style.fontSize), large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
  if (contrast < (large ? 3 : 4.5)) faults.push(`${told(e)}: contrast ${contrast.toFixed(2)}`);
  if (size < 12) faults.push(`${told(e)}: ${size} px is too small to read`);
}

if (document.documentElement.scrollWidth > window.innerWidth) {
  const wide = all("body *").filter((e) => shown(e) && e.getBoundingClientRect().right > window.innerWidth + 1 && !e.closest("svg,pre"));
  faults.push(`wider than the screen: ${document.documentElement.scrollWidth} px, ${wide.slice(0, 3).map(told).join("; ")}`);
}
return faults;
