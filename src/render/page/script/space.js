  // The view in three dimensions: drag, pinch, wheel, keys and buttons; pointing at a seam selects its station.
  const space = element("space");
  const canvas = space.querySelector("canvas");
  const brush = painter(canvas);
  if (brush) {
    space.hidden = false;
    links.space.hidden = false;
    const fit = () => everything(canvas.clientWidth, canvas.clientHeight);
    fit();
    const pins = document.createElement("div");
    pins.className = "pins";
    canvas.after(pins);
    const pin = (kind, words) => {
      const made = document.createElement("span");
      made.className = kind;
      made.textContent = words;
      pins.append(made);
      return made;
    };
    const middles = data.seams.map((seam, index) => [seam, Math.floor(seam.along.length / 2), pin("number", index + 1)]);
    const letters = data.marks.map(([seam, station, letter, ink]) => {
      const made = pin("letter", letter);
      made.style.borderColor = `var(--${ink})`;
      return [data.seams[seam], station, made];
    });
    const spot = pin("spot", "");
    // In CSS pixels of the canvas, and whether the surface faces the eye.
    const project = (seam, index, [right, up, eye]) => {
      const at = (list) => list.slice(3 * index, 3 * index + 3);
      const away = vector.sum([1, at(seam.points)], [-1, camera.target]);
      const pixels = Math.min(canvas.clientWidth, canvas.clientHeight) / camera.span;
      return [canvas.clientWidth / 2 + vector.dot(away, right) * pixels, canvas.clientHeight / 2 - vector.dot(away, up) * pixels, vector.dot(at(seam.normals), eye) > -0.1];
    };
    const put = (made, [x, y, faces]) => {
      const inside = x > 0 && y > 0 && x < canvas.clientWidth && y < canvas.clientHeight;
      made.hidden = !(faces && inside);
      made.style.transform = `translate(${x.toFixed(1)}px,${y.toFixed(1)}px)`;
    };
    let asked = false;
    const repaint = () => {
      if (asked) return;
      asked = true;
      requestAnimationFrame(() => {
        asked = false;
        brush.paint();
        const axes = basis();
        middles.forEach(([seam, index, made]) => { if (seam.along.length) put(made, project(seam, index, axes)); });
        letters.forEach(([seam, index, made]) => {
          const [x, y, faces] = project(seam, index, axes);
          put(made, [x, y - 20, faces]);
        });
        spot.hidden = !here;
        if (here) put(spot, project(data.seams[here[0]], here[1], axes));
      });
    };
    const pick = (event, reach) => {
      const box = canvas.getBoundingClientRect();
      const axes = basis();
      let best = null;
      data.seams.forEach((seam, index) => seam.along.forEach((_, station) => {
        const [x, y, faces] = project(seam, station, axes);
        const far = Math.hypot(x - event.clientX + box.left, y - event.clientY + box.top);
        if (faces && far < (best ? best[0] : reach)) best = [far, [index, station]];
      }));
      if (best) select(best[1], "space");
    };
    const zoom = (factor) => { camera.span = Math.min(40000, Math.max(20, camera.span * factor)); repaint(); };
    const turn = (across, over) => {
      camera.turn -= across;
      camera.tilt = Math.max(-Math.PI / 2, Math.min(Math.PI / 2, camera.tilt + over));
      repaint();
    };
    const shift = (across, over) => {
      const perPixel = camera.span / Math.min(canvas.clientWidth, canvas.clientHeight);
      const [right, up] = basis();
      camera.target = vector.sum([1, camera.target], [-across * perPixel, right], [over * perPixel, up]);
      repaint();
    };
    const fingers = new Map();
    let moved = 0;
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      moved = 0;
    });
    canvas.addEventListener("pointermove", (event) => {
      const last = fingers.get(event.pointerId);
      if (!last) { pick(event, 16); return; }
      const [dx, dy] = [event.clientX - last[0], event.clientY - last[1]];
      moved += Math.hypot(dx, dy);
      if (fingers.size === 2) {
        const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
        const before = Math.hypot(last[0] - other[0], last[1] - other[1]);
        const after = Math.hypot(event.clientX - other[0], event.clientY - other[1]);
        if (before > 0 && after > 0) zoom(before / after);
        shift(dx / 2, dy / 2);
      } else if (event.shiftKey || event.buttons & 6) {
        shift(dx, dy);
      } else {
        turn(dx * 0.008, dy * 0.008);
      }
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
    });
    ["pointerup", "pointercancel"].forEach((kind) => canvas.addEventListener(kind, (event) => {
      if (fingers.delete(event.pointerId) && kind === "pointerup" && moved < 6) pick(event, 28);
    }));
    // Without focus the wheel goes on scrolling the page.
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas && !event.ctrlKey) return;
      event.preventDefault();
      zoom(Math.exp(Math.max(-0.5, Math.min(0.5, event.deltaY * 0.002))));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      const keys = {
        ArrowLeft: () => turn(-0.12, 0), ArrowRight: () => turn(0.12, 0), ArrowUp: () => turn(0, 0.12), ArrowDown: () => turn(0, -0.12),
        "+": () => zoom(0.8), "=": () => zoom(0.8), "-": () => zoom(1.25), 0: () => { fit(); repaint(); },
        PageDown: () => (here ? step(1) : select([0, 0], "space")), PageUp: () => step(-1),
      };
      if (!keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      keys[event.key]();
    });
    space.querySelector(".knobs").addEventListener("click", (event) => {
      const knob = event.target.closest("button");
      if (!knob) return;
      if (knob.dataset.zoom) zoom(+knob.dataset.zoom);
      if (knob.dataset.view) { [camera.turn, camera.tilt] = named[knob.dataset.view]; fit(); repaint(); }
    });
    document.addEventListener("look-here", () => {
      const [seam, index] = [data.seams[here[0]], here[1]];
      camera.target = seam.points.slice(3 * index, 3 * index + 3);
      lookAlong(seam.normals.slice(3 * index, 3 * index + 3));
      camera.span = Math.min(camera.span, 400);
      repaint();
    });
    canvas.addEventListener("webglcontextlost", () => { space.hidden = true; links.space.hidden = true; });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { brush.recolour(); repaint(); });
    new ResizeObserver(repaint).observe(canvas);
    listeners.push(repaint);
  } else {
    links.space.hidden = true;
  }
  // With room beside the page the sheet is always open, at the worst place to begin with.
  if (matchMedia("(min-width: 75rem)").matches) {
    const worst = document.querySelector(".worst a[data-k]");
    select(worst ? worst.dataset.k.split(":").map(Number) : [0, 0], "start");
  }
