  // The station that is pointed at: [seam, station], and who wants to know. Words come from the table.
  const root = document.documentElement;
  const element = (id) => document.getElementById(id);
  const data = JSON.parse(element("data").textContent);
  const table = element("readings");
  const rows = new Map();
  table.querySelectorAll("tr[data-k]").forEach((row) => rows.set(row.dataset.k, row));
  const listeners = [];
  let here = null;
  const rowOf = ([seam, station]) => rows.get(`${seam}:${station}`);
  const cellsOf = (place) => [...(rowOf(place) || { cells: [] }).cells].map((cell) => cell.textContent);
  const wordsOf = (place) => {
    const [title, at, gap, gapU, gapWord, flush, flushU, flushWord] = cellsOf(place);
    const part = (name, value, u, word) => `${name} ${value ? `${value} ±${u} ${data.unit}, ` : ""}${word}`;
    const warned = (data.seams[place[0]].warned[place[1]] || []).map((which) => data.warnings[which]);
    return [`${title}, ${at}`, part(data.words.gap, gap, gapU, gapWord), part(data.words.flush, flush, flushU, flushWord), ...warned];
  };
  const select = (place, from) => {
    const [seam, station] = place || [];
    if (place && (!data.seams[seam] || !(station >= 0 && station < data.seams[seam].along.length))) return;
    if (here && place && here[0] === seam && here[1] === station) return;
    here = place;
    listeners.forEach((listener) => listener(here, from));
  };
  const step = (by) => here && select([here[0], here[1] + by], "step");
  const nearest = (seam, along) => {
    const list = data.seams[seam].along;
    let best = 0;
    list.forEach((value, index) => { if (Math.abs(value - along) < Math.abs(list[best] - along)) best = index; });
    return best;
  };
  const bytesOf = (id) => {
    const text = atob(element(id).textContent.trim());
    const bytes = new Uint8Array(text.length);
    for (let index = 0; index < text.length; index += 1) bytes[index] = text.charCodeAt(index);
    return bytes;
  };
  root.classList.add("js");
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-k]");
    if (link) { event.preventDefault(); select(link.dataset.k.split(":").map(Number), "link"); }
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && here) select(null, "key");
  });
