// Extras only: the page says everything without them.
(() => {
  const marks = [...document.querySelectorAll("svg [data-lap]")];
  const of = (lap) => marks.filter((mark) => mark.dataset.lap === lap);

  // Folded parts are open on paper.
  let folded = [];
  addEventListener("beforeprint", () => {
    folded = [...document.querySelectorAll("details:not([open])")];
    folded.forEach((part) => { part.open = true; });
  });
  addEventListener("afterprint", () => folded.forEach((part) => { part.open = false; }));

  // A lap of the table stands out in the figures.
  for (const row of document.querySelectorAll("tr[data-lap]")) {
    const turn = (on) => () => of(row.dataset.lap).forEach((mark) => mark.classList.toggle("hot", on));
    row.addEventListener("pointerenter", turn(true));
    row.addEventListener("pointerleave", turn(false));
  }

  // Laps can be hidden and shown.
  const place = document.getElementById("lap-switches");
  const laps = [...new Set(marks.map((mark) => mark.dataset.lap))];
  if (!place || laps.length < 2) return;
  const box = document.createElement("details");
  box.append(Object.assign(document.createElement("summary"), { textContent: "Show or hide laps in the figures" }));
  const runs = new Map();
  for (const key of laps) {
    const [run, lap] = key.split("-");
    if (!runs.has(run)) {
      const set = document.createElement("fieldset");
      set.append(Object.assign(document.createElement("legend"), { textContent: "Run " + run }));
      runs.set(run, set);
      box.append(set);
    }
    const tick = Object.assign(document.createElement("input"), { type: "checkbox", checked: true });
    tick.addEventListener("change", () => of(key).forEach((mark) => mark.classList.toggle("off", !tick.checked)));
    const label = document.createElement("label");
    label.append(tick, " lap " + lap);
    runs.get(run).append(label);
  }
  place.append(box);
})();
