  // The table: sorting by any column, filter by seam and verdict, and the row of the station that is pointed at.
  const body = table.tBodies[0];
  const choices = ["only-seam", "only-verdict"].map(element);
  const valueIn = (row, column) => row.cells[column].textContent.trim().replace("−", "-");
  table.querySelectorAll("th button").forEach((button, column) => button.addEventListener("click", () => {
    const head = button.closest("th");
    const up = head.getAttribute("aria-sort") !== "ascending";
    table.querySelectorAll("th").forEach((th) => th.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    const sorted = [...body.rows].map((row) => [row, valueIn(row, column), parseFloat(valueIn(row, column))]);
    sorted.sort(([, text, value], [, otherText, other]) => {
      // What was not measured stays at the end, whichever way.
      if (!text || !otherText) return (text ? 0 : 1) - (otherText ? 0 : 1);
      const order = Number.isNaN(value) || Number.isNaN(other) ? text.localeCompare(otherText) : value - other;
      return up ? order : -order;
    });
    body.append(...sorted.map(([row]) => row));
  }));
  const filter = () => {
    const [seam, verdict] = choices.map((choice) => choice.value);
    let shown = 0;
    for (const row of body.rows) {
      const is = (word) => row.dataset.v.split(" ").includes(word);
      row.hidden = Boolean((seam && row.dataset.k.split(":")[0] !== seam) || (verdict && !verdict.split(" ").some(is)));
      shown += row.hidden ? 0 : 1;
    }
    element("row-count").textContent = `${shown} ${data.words.rows}`;
  };
  choices.forEach((choice) => choice.addEventListener("change", filter));
  const showRow = (row) => {
    if (!row.hidden) return;
    choices.forEach((choice) => { choice.value = ""; });
    filter();
  };
  const keyOf = (row) => row.dataset.k.split(":").map(Number);
  let tabbed = null;
  const tabTo = (row) => {
    if (tabbed) tabbed.tabIndex = -1;
    tabbed = row;
    if (row) row.tabIndex = 0;
  };
  listeners.push((place) => {
    body.querySelectorAll("tr.on").forEach((row) => row.classList.remove("on"));
    const row = place && rowOf(place);
    if (!row) return;
    row.classList.add("on");
    tabTo(row);
  });
  body.addEventListener("click", (event) => {
    const row = event.target.closest("tr[data-k]");
    if (row) select(keyOf(row), "table");
  });
  body.addEventListener("keydown", (event) => {
    const row = event.target.closest("tr[data-k]");
    if (!row || !["ArrowDown", "ArrowUp"].includes(event.key)) return;
    event.preventDefault();
    const side = event.key === "ArrowDown" ? "nextElementSibling" : "previousElementSibling";
    let next = row[side];
    while (next && next.hidden) next = next[side];
    if (next) { select(keyOf(next), "table"); next.focus(); }
  });
  tabTo(body.rows[0] || null);
  filter();
