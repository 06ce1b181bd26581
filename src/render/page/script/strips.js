  // A strip is a slider along its seam: point, drag or use the arrow keys.
  const seamIndex = new Map(data.seams.map((seam, index) => [seam.id, index]));
  document.querySelectorAll("figure.strip").forEach((figure) => {
    const pictures = [...figure.querySelectorAll("svg[data-axis]")];
    if (!pictures.length) return;
    const seam = seamIndex.get(pictures[0].dataset.seam);
    const last = data.seams[seam].along.length - 1;
    if (last < 0) return;
    Object.entries({ tabindex: 0, role: "slider", "aria-label": data.seams[seam].title, "aria-valuemin": 0, "aria-valuemax": last, "aria-valuenow": 0 })
      .forEach(([name, value]) => figure.setAttribute(name, value));
    const cursors = pictures.map((picture) => {
      const [first, end, from, to, top, bottom] = picture.dataset.axis.split(" ").map(Number);
      const cursor = document.createElementNS("http://www.w3.org/2000/svg", "path");
      cursor.setAttribute("class", "cursor");
      picture.append(cursor);
      const pointed = (event) => {
        const box = picture.getBoundingClientRect();
        const x = ((event.clientX - box.left) / box.width) * picture.viewBox.baseVal.width;
        if (x < first - 8 || x > end + 8) return;
        select([seam, nearest(seam, from + ((x - first) / (end - first)) * (to - from))], "strip");
      };
      picture.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" || event.buttons) pointed(event); });
      picture.addEventListener("pointerdown", pointed);
      return (along) => {
        const x = along === null ? null : first + ((along - from) / (to - from)) * (end - first);
        cursor.setAttribute("d", x === null ? "" : `M${x} ${top}V${bottom}`);
      };
    });
    listeners.push((place) => {
      const is = place && place[0] === seam;
      cursors.forEach((move) => move(is ? data.seams[seam].along[place[1]] : null));
      if (!is) return;
      figure.setAttribute("aria-valuenow", place[1]);
      figure.setAttribute("aria-valuetext", wordsOf(place).join(". "));
    });
    figure.addEventListener("focus", () => {
      if (figure.matches(":focus-visible") && (!here || here[0] !== seam)) select([seam, +figure.getAttribute("aria-valuenow")], "strip");
    });
    figure.addEventListener("keydown", (event) => {
      const at = here && here[0] === seam ? here[1] : 0;
      const to = { ArrowRight: at + 1, ArrowUp: at + 1, ArrowLeft: at - 1, ArrowDown: at - 1, PageUp: at + 10, PageDown: at - 10, Home: 0, End: last }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      select([seam, Math.min(last, Math.max(0, to))], "strip");
    });
  });
