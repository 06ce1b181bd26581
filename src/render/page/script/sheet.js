  // The sheet of the station that is pointed at: words, section, and ways to its strip, its row and its place in space.
  const sheet = element("sheet");
  const links = Object.fromEntries([...sheet.querySelectorAll("[data-to]")].map((link) => [link.dataset.to, link]));
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const bring = (target) => target.scrollIntoView({ behavior: still ? "auto" : "smooth", block: "center" });
  listeners.push((place) => {
    sheet.hidden = !place;
    root.classList.toggle("sheet-open", Boolean(place));
    if (!place) return;
    element("words").replaceChildren(...wordsOf(place).map((words, index) => {
      const line = document.createElement(index ? "span" : "b");
      // What a reading warns of, behind gap and flush.
      if (index > 2) line.className = "muted";
      line.textContent = words;
      return line;
    }));
    element("section").innerHTML = drawSection(place);
    links.strip.setAttribute("href", `#seam-${data.seams[place[0]].id}`);
  });
  sheet.addEventListener("click", (event) => {
    const target = event.target.closest("[data-step],[data-close],[data-to]");
    if (!target || !here) return;
    if (target.dataset.step) step(+target.dataset.step);
    if (target.dataset.close) select(null, "close");
    if (target.dataset.to) {
      event.preventDefault();
      const goals = { strip: element(`seam-${data.seams[here[0]].id}`), table: rowOf(here), space: document.querySelector("#space canvas") };
      const goal = goals[target.dataset.to];
      if (target.dataset.to === "table") showRow(goal);
      if (target.dataset.to === "space") document.dispatchEvent(new Event("look-here"));
      bring(goal);
      goal.focus({ preventScroll: true });
    }
  });
