// The bench page's own script. The server makes every text; this carries presses to it and puts
// what comes back in place, without replacing what the user is holding or typing in.
"use strict";

const POLL_MS = 700;
const token = document.querySelector('meta[name="bench-token"]').content;
const byId = (id) => document.getElementById(id);
const shown = {};
let queue = Promise.resolve();
let waiting = 0;
let timer = 0;
let byItself = true;
let stickyByMode = false;

// Making one element like another, keeping every element that is of the same kind.

function alike(old, fresh) {
  return old.nodeType === fresh.nodeType && old.nodeName === fresh.nodeName &&
    (old.id || "") === (fresh.id || "");
}

function adoptAttributes(old, fresh) {
  for (const { name } of [...old.attributes]) {
    const kept = name === "open" && old.nodeName === "DETAILS";
    if (!fresh.hasAttribute(name) && !kept) old.removeAttribute(name);
  }
  for (const { name, value } of [...fresh.attributes]) {
    if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
  if (old.nodeName === "INPUT") {
    if (old.type === "checkbox") old.checked = fresh.checked;
    if (old.type === "range" && document.activeElement !== old) old.value = fresh.value;
  }
}

function adopt(old, fresh) {
  if (old.nodeType !== Node.ELEMENT_NODE) {
    if (old.nodeValue !== fresh.nodeValue) old.nodeValue = fresh.nodeValue;
    return;
  }
  if (old.isEqualNode(fresh)) return;
  adoptAttributes(old, fresh);
  if (old.nodeName === "TEXTAREA") {
    if (old.defaultValue !== fresh.defaultValue) old.value = old.defaultValue = fresh.defaultValue;
    return;
  }
  adoptChildren(old, fresh);
}

function adoptChildren(old, fresh) {
  let here = old.firstChild;
  for (const wanted of [...fresh.childNodes]) {
    let match = here;
    if (wanted.id) {
      match = here;
      while (match && match.id !== wanted.id) match = match.nextSibling;
      match = match || here;
    }
    if (match && alike(match, wanted)) {
      while (here !== match) {
        const gone = here;
        here = here.nextSibling;
        gone.remove();
      }
      here = match.nextSibling;
      adopt(match, wanted);
    } else {
      old.insertBefore(wanted, here);
    }
  }
  while (here) {
    const gone = here;
    here = here.nextSibling;
    gone.remove();
  }
}

function put(name, text) {
  const place = byId(name);
  if (!place || shown[name] === text) return;
  shown[name] = text;
  const fresh = document.createElement("template");
  fresh.innerHTML = text;
  const focused = document.activeElement;
  const group = focused?.closest(".group")?.id;
  adoptChildren(place, fresh.content);
  if (focused && focused !== document.body && !focused.isConnected) keepPlace(place, group);
}

// What had the focus is gone: the keyboard goes on beside it, or at the heading around it.

function keepPlace(place, group) {
  const beside = group && byId(group)?.querySelector("button");
  const heading = byId(place.closest("section")?.getAttribute("aria-labelledby"));
  const target = beside || heading || byId("controls-title");
  if (!target.hasAttribute("tabindex") && target.tabIndex < 0) target.tabIndex = -1;
  target.focus({ preventScroll: true });
}

// Asking the server, one thing after the other.

function trouble(text) {
  const line = byId("trouble");
  line.hidden = !text;
  line.textContent = text;
}

async function send(body) {
  let answer;
  try {
    const response = await fetch("do", {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Bench-Token": token },
      body: JSON.stringify(body),
    });
    answer = await response.json();
  } catch {
    trouble("The bench does not answer. Is interlock operate still running?");
    return null;
  }
  trouble(answer.trouble || "");
  if (answer.trouble) return null;
  for (const [name, text] of Object.entries(answer.regions)) put(name, text);
  showWhy();
  if (answer.say) byId("spoken").textContent = answer.say;
  if (answer.by_itself !== byItself) followMode(!answer.by_itself);
  byItself = answer.by_itself;
  filterRows();
  keepStepInView();
  return answer;
}

// The present step stays in view in its list, without moving the page.

function keepStepInView() {
  const list = document.querySelector("ol.run");
  const step = list?.querySelector(".here");
  if (!step || !list.offsetParent) return;
  const inside = step.getBoundingClientRect(), around = list.getBoundingClientRect();
  if (inside.bottom > around.bottom) list.scrollTop += inside.bottom - around.bottom + 8;
  if (inside.top < around.top) list.scrollTop -= around.top - inside.top + 8;
}

// Why something does not happen is brought into view, and closing it leads back.

let asker = null;

function showWhy() {
  if (!asker || !byId("why").firstElementChild) return;
  byId("why").scrollIntoView({ block: "nearest" });
}

function ask(act, given = {}) {
  waiting += 1;
  queue = queue.then(async () => {
    const answer = await send({ act, ...given });
    waiting -= 1;
    if (answer) plan(answer);
  });
  return queue;
}

function plan(answer) {
  clearTimeout(timer);
  // The press is answered first; what takes longer to find out is asked for behind it.
  if (answer.next && !waiting) return void ask(answer.next);
  const ticks = byItself && !answer.rest && !document.hidden;
  if (!ticks && !answer.jobs) return;
  timer = setTimeout(() => {
    if (waiting) return plan(answer);
    ask(ticks ? "tick" : "look");
  }, ticks ? Number(byId("pace").value) : POLL_MS);
}

// Buttons to hold: pointer, Space and Enter, or one click each way.

const holding = new Map();

function press(button) {
  if (holding.has(button)) return;
  holding.set(button, true);
  ask("press", { control: button.dataset.hold, position: Number(button.dataset.position) });
}

function letGo(button) {
  if (!holding.delete(button)) return;
  ask("release", { control: button.dataset.hold, position: Number(button.dataset.position) });
}

function toggle(button) {
  const act = button.getAttribute("aria-pressed") === "true" ? "release" : "press";
  ask(act, { control: button.dataset.hold, position: Number(button.dataset.position) });
}

const isSticky = () => byId("sticky").checked;
const holdOf = (event) => event.target.closest?.("[data-hold]");
const letAllGo = () => [...holding.keys()].forEach(letGo);

document.addEventListener("pointerdown", (event) => {
  const button = holdOf(event);
  if (!button || isSticky() || event.button !== 0) return;
  button.setPointerCapture(event.pointerId);
  press(button);
});
for (const kind of ["pointerup", "pointercancel", "lostpointercapture"]) {
  document.addEventListener(kind, (event) => {
    const button = holdOf(event);
    if (button) letGo(button);
  });
}
document.addEventListener("keydown", (event) => {
  const button = holdOf(event);
  if (!button || isSticky() || (event.key !== " " && event.key !== "Enter")) return;
  event.preventDefault();
  if (!event.repeat) press(button);
});
document.addEventListener("keyup", (event) => {
  const button = holdOf(event);
  if (!button || isSticky() || (event.key !== " " && event.key !== "Enter")) return;
  event.preventDefault();
  letGo(button);
});
document.addEventListener("contextmenu", (event) => { if (holdOf(event)) event.preventDefault(); });
document.addEventListener("focusout", (event) => { const b = holdOf(event); if (b) letGo(b); });
window.addEventListener("blur", letAllGo);
document.addEventListener("visibilitychange", () => {
  if (document.hidden) letAllGo();
  else ask("look");
});

// Everything else that is clicked, set or chosen.

document.addEventListener("click", (event) => {
  const hold = holdOf(event);
  if (hold) {
    // A click that no pointer made (detail 0) comes from assistive technology.
    if (isSticky() || event.detail === 0) toggle(hold);
    return;
  }
  const place = event.target.closest("[data-place]");
  if (place) {
    event.preventDefault();
    showPlace(place.dataset.place);
    return;
  }
  const tab = event.target.closest("[role=tab]");
  if (tab) return openTab(tab);
  const sender = event.target.closest("[data-send]");
  if (sender) return void ask("program", { text: byId("program-text").value });
  const button = event.target.closest("[data-act]");
  if (!button) return;
  if (button.getAttribute("aria-disabled") === "true") return;
  const { act, ...given } = button.dataset;
  if (act === "shut" && asker) asker.focus();
  asker = act === "move" ? button : null;
  ask(act, given);
  if (act.startsWith("follow")) openTab(byId("tab-run"));
  if (act === "lesson") openTab(byId("tab-lessons"));
});

function followMode(byHand) {
  const sticky = byId("sticky");
  if (byHand && !sticky.checked) {
    sticky.checked = stickyByMode = true;
  } else if (!byHand && stickyByMode) {
    sticky.checked = stickyByMode = false;
  }
}

document.addEventListener("change", async (event) => {
  const { target } = event;
  if (target.dataset.tick) ask("tick_box", { name: target.dataset.tick, on: target.checked });
  if (target.dataset.slider) ask("go", { to: target.value });
  if (target.dataset.file && target.files.length) {
    const file = target.files[0];
    if (file.size > 1000000) return trouble("The file is larger than 1 MB.");
    const text = await file.text();
    target.value = "";
    ask(target.dataset.file, { text });
  }
  if (target.id === "say-pattern" || target.id === "say-scope") showBlanks();
});

document.addEventListener("input", (event) => { if (event.target.dataset.filter) filterRows(); });

function filterRows() {
  const field = document.querySelector("[data-filter]");
  if (!field) return;
  const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const row of byId(field.dataset.filter).rows) {
    const text = row.dataset.words.toLowerCase();
    row.hidden = !words.every((word) => text.includes(word));
  }
}

// A sentence: only the blanks that the chosen one has.

function showBlanks() {
  const pattern = byId("say-pattern").value;
  const where = byId("say-scope");
  const isScoped = where.closest("[data-shows]").dataset.shows.split(" ").includes(pattern);
  const scope = isScoped ? `scope-${where.value}` : "";
  for (const blank of document.querySelectorAll("#sentence-form [data-shows]")) {
    const shows = blank.dataset.shows.split(" ");
    blank.hidden = !shows.includes(pattern) && !shows.includes(scope);
  }
}

byId("sentence-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const fields = [...event.target.elements].filter((e) => e.name && !e.closest("[hidden]"));
  const given = {};
  for (const e of fields) given[e.name] = e.type === "checkbox" ? (e.checked ? "yes" : "") : e.value;
  const { pattern, scope = "globally", ...rest } = given;
  await ask("say", { pattern, scope, given: rest });
  const wrong = [...document.querySelectorAll("#sentences [data-field]")].map((e) => e.dataset.field);
  for (const e of fields) {
    if (wrong.includes(e.name)) e.setAttribute("aria-invalid", "true");
    else e.removeAttribute("aria-invalid");
  }
  const first = fields.find((e) => wrong.includes(e.name));
  if (first) first.focus();
});

// Tabs, by arrow keys too.

function openTab(tab) {
  for (const other of document.querySelectorAll("[role=tab]")) {
    const chosen = other === tab;
    other.setAttribute("aria-selected", String(chosen));
    other.tabIndex = chosen ? 0 : -1;
    byId(other.getAttribute("aria-controls")).hidden = !chosen;
  }
  keepStepInView();
}

document.querySelector("[role=tablist]").addEventListener("keydown", (event) => {
  const tabs = [...document.querySelectorAll("[role=tab]")];
  const at = tabs.indexOf(event.target);
  const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: tabs.length - 1 }[event.key];
  if (at < 0 || to === undefined) return;
  event.preventDefault();
  const tab = tabs[(to + tabs.length) % tabs.length];
  openTab(tab);
  tab.focus();
});

function showPlace(place) {
  // Behind the line, the element of a drawing may be named.
  const line = document.querySelector(`tr[data-line="${CSS.escape(place.split(" (")[0])}"]`);
  openTab(byId("tab-program"));
  if (!line) return;
  document.querySelectorAll("tr.sought").forEach((row) => row.classList.remove("sought"));
  line.classList.add("sought");
  line.scrollIntoView({ block: "center" });
}

showBlanks();
ask("look");
