// Works on what the page already shows: without it, pictures and tables stay.
(() => {
  const root = document.documentElement;
  root.classList.add("js");
  const tip = document.getElementById("tip");
  const byKey = new Map();
  document.querySelectorAll("[data-key]").forEach((el) => {
    const list = byKey.get(el.dataset.key) || [];
    list.push(el);
    byKey.set(el.dataset.key, list);
  });
  let now = null;
  const show = (key) => {
    if (key === now) return;
    (byKey.get(now) || []).forEach((el) => el.classList.remove("on"));
    now = key;
    const list = byKey.get(key) || [];
    list.forEach((el) => el.classList.add("on"));
    const words = [...new Set(list.map((el) => el.dataset.words || (el.querySelector("title") || {}).textContent).filter(Boolean))];
    tip.textContent = words.join(" · ");
    tip.classList.toggle("on", words.length > 0);
    document.dispatchEvent(new CustomEvent("station", { detail: key }));
  };
  const keyOf = (event) => {
    const el = event.target.closest && event.target.closest("[data-key]");
    return el ? el.dataset.key : null;
  };
  ["pointerover", "click", "focusin"].forEach((kind) =>
    document.addEventListener(kind, (event) => { const key = keyOf(event); if (key) show(key); }));
  document.addEventListener("keydown", (event) => {
    if (!now || !["ArrowLeft", "ArrowRight"].includes(event.key)) return;
    if (/^(INPUT|SELECT|CANVAS)$/.test(event.target.tagName)) return;
    const [seam, index] = [now.slice(0, now.lastIndexOf(":")), +now.slice(now.lastIndexOf(":") + 1)];
    const next = `${seam}:${index + (event.key === "ArrowRight" ? 1 : -1)}`;
    if (byKey.has(next)) { show(next); event.preventDefault(); }
  });
  const table = document.getElementById("readings");
  if (table) {
    const body = table.tBodies[0];
    table.querySelectorAll("th button").forEach((button, column) => button.addEventListener("click", () => {
      const head = button.closest("th");
      const up = head.getAttribute("aria-sort") !== "ascending";
      table.querySelectorAll("th").forEach((th) => th.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      const value = (row) => row.cells[column].dataset.v ?? row.cells[column].textContent;
      const rows = [...body.rows].sort((a, b) => {
        const [x, y] = [value(a), value(b)];
        const [p, q] = [parseFloat(x), parseFloat(y)];
        const order = Number.isNaN(p) || Number.isNaN(q) ? (Number.isNaN(p) - Number.isNaN(q)) || x.localeCompare(y) : p - q;
        return up ? order : -order;
      });
      body.append(...rows);
    }));
    const filter = () => {
      const seam = document.getElementById("only-seam").value;
      const verdict = document.getElementById("only-verdict").value;
      for (const row of body.rows) {
        row.hidden = (seam && row.dataset.seam !== seam) || (verdict && !row.dataset.verdicts.split(" ").includes(verdict));
      }
    };
    ["only-seam", "only-verdict"].forEach((id) => document.getElementById(id).addEventListener("change", filter));
  }
})();
