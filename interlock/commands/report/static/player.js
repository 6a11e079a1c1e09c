"use strict";
// Plays the runs of the page. Without it each run is there as a story and as pictures.
(function () {
  const views = JSON.parse(document.getElementById("views").textContent);
  const PREFIX = "side-view-in-player-";

  function made(tag, attributes, text) {
    const element = document.createElement(tag);
    for (const name in attributes) element.setAttribute(name, attributes[name]);
    if (text) element.textContent = text;
    return element;
  }

  function picture(row, run) {
    let pieces = views.base.slice();
    if (row.whole) pieces = row.whole.map((number) => views.pieces[number]);
    for (let n = 0; row.changes && n < row.changes.length; n += 2) {
      pieces[row.changes[n]] = views.pieces[row.changes[n + 1]];
    }
    // Ids of several players in one page must not meet.
    return pieces.join("<").split(PREFIX).join("view-" + run + "-");
  }

  function player(box) {
    const run = box.dataset.run;
    const rows = views.runs[run];
    const story = box.parentElement.querySelector(".story");
    const lines = Array.from(story.querySelectorAll("tr[data-row]"));
    const keys = made("div", { class: "keys", role: "group", "aria-label": "Steps of this run" });
    const told = made("p", { class: "told", "aria-live": "polite" });
    const words = made("ul", {});
    const view = made("div", { role: "img" });
    const buttons = {};
    let here = -1;

    function show(number) {
      const next = Math.max(0, Math.min(rows.length - 1, number));
      if (next === here) return;
      if (here >= 0) {
        lines[here].classList.remove("here");
        lines[here].querySelector("button").removeAttribute("aria-current");
      }
      here = next;
      lines[here].classList.add("here");
      lines[here].querySelector("button").setAttribute("aria-current", "step");
      const before = new Set(here > 0 ? rows[here - 1].words : []);
      const cells = Array.from(lines[here].cells).slice(1, 4).map((cell) => cell.textContent.trim());
      told.textContent = "";
      told.append(made("b", {}, "Step " + rows[here].step + " of " + rows[rows.length - 1].step), ": " + cells.filter(Boolean).join(" – "));
      if (here === rows.length - 1 && "violates" in box.dataset) told.append(made("b", { class: "state violated" }, " ✕ violated here"));
      const said = rows[here].words.map((word) => views.words[word]);
      const news = rows[here].words.filter((word) => !before.has(word)).map((word) => views.words[word]);
      const ended = news.map((word) => word.replace(/\.?$/, "."));
      if (here > 0) told.append(made("span", { class: "quiet", dir: "auto" }, " " + ended.join(" ")));
      words.replaceChildren(...said.map((word) => made("li", { dir: "auto" }, word)));
      view.setAttribute("aria-label", "Side view: " + said.join(". "));
      // Made by interlock, with every text of the model escaped.
      view.innerHTML = picture(rows[here], run);
      view.firstElementChild.removeAttribute("role");
      view.firstElementChild.setAttribute("aria-hidden", "true");
      buttons.First.setAttribute("aria-disabled", String(here === 0));
      buttons.Back.setAttribute("aria-disabled", String(here === 0));
      buttons.Next.setAttribute("aria-disabled", String(here === rows.length - 1));
      buttons.Last.setAttribute("aria-disabled", String(here === rows.length - 1));
    }

    const ways = { First: () => 0, Back: () => here - 1, Next: () => here + 1, Last: () => rows.length - 1 };
    for (const name in ways) {
      buttons[name] = made("button", { type: "button" }, name);
      buttons[name].addEventListener("click", () => show(ways[name]()));
      keys.append(buttons[name]);
    }
    keys.append(made("span", { class: "quiet" }, "or the keys ← → Home End"));
    const arrows = { ArrowLeft: "Back", ArrowRight: "Next", Home: "First", End: "Last" };
    box.parentElement.addEventListener("keydown", (event) => {
      const name = arrows[event.key];
      // What can be scrolled keeps its keys.
      if (!name || event.target.tagName !== "BUTTON" || event.altKey || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      show(ways[name]());
    });
    lines.forEach((line, number) => {
      const cell = line.cells[0];
      const button = made("button", { type: "button", "aria-label": "Show step " + cell.textContent }, cell.textContent);
      button.addEventListener("click", () => show(number));
      cell.replaceChildren(button);
    });
    const details = made("details", {});
    details.append(made("summary", {}, "This state in words"), words);
    box.append(keys, told, view, details);
    box.hidden = false;
    box.parentElement.classList.add("played");
    show(0);
  }

  document.querySelectorAll(".player").forEach(player);
})();
