  // The section of a station, drawn like the ones that are on the page: one scale for both axes.
  const profiles = (() => {
    const view = new DataView(bytesOf("sections").buffer);
    let at = 0;
    return data.seams.map((seam) => seam.along.map(() => {
      const counts = [view.getUint16(at, true), view.getUint16(at + 2, true)];
      const start = at + 4;
      at = start + 4 * (counts[0] + counts[1]) + 80;
      return () => {
        const point = (index) => [view.getInt16(start + 4 * index, true) * 0.005, view.getInt16(start + 4 * index + 2, true) * 0.005];
        const points = Array.from({ length: counts[0] + counts[1] }, (_, index) => point(index));
        const fits = start + 4 * points.length;
        const number = (which, index) => view.getFloat32(fits + 40 * which + 4 * index, true);
        const sides = [0, 1].map((which) => Array.from({ length: 10 }, (_, index) => number(which, index)));
        return { loose: points.slice(0, counts[0]), used: points.slice(counts[0]), skins: sides.map((side) => side.slice(0, 5)), arcs: sides.map((side) => side.slice(5)) };
      };
    }));
  })();
  const drawSection = (place) => {
    const { loose, used, skins, arcs } = profiles[place[0]][place[1]]();
    const [width, reach, seam] = [340, 11, data.seams[place[0]]];
    const seen = (values) => !Number.isNaN(values[0]);
    const middle = seen(arcs[0]) && seen(arcs[1]) ? (arcs[0][3] + arcs[1][3]) / 2 : 0;
    const near = [...loose, ...used].filter(([u]) => Math.abs(u - middle) <= reach);
    const scale = width / (2 * reach);
    const top = Math.min(14, Math.max(1, ...near.map((point) => point[1]))) + 44 / scale;
    const low = Math.max(-10, Math.min(-1, ...near.map((point) => point[1]))) - 1;
    const height = Math.round(Math.min(230, (top - low) * scale)) + 34;
    const x = (u) => +(width / 2 + (u - middle) * scale).toFixed(2);
    const y = (v) => +((top - v) * scale).toFixed(2);
    const inside = ([u, v]) => Math.abs(u - middle) < reach && y(v) > 0 && y(v) < height - 34;
    const dots = (points, ink, size) => `<path d="${points.filter(inside).map(([u, v]) => `M${x(u)} ${y(v)}h0`).join("")}" stroke="var(--${ink})" stroke-width="${size}" stroke-linecap="round"/>`;
    const line = (points, ink, wide, more = "") => (points.length < 2 ? "" : `<path d="M${points.map(([u, v]) => `${x(u)} ${y(v)}`).join("L")}" fill="none" stroke="var(--${ink})" stroke-width="${wide}" ${more}/>`);
    const text = (px, py, words, anchor, more = "") => `<text x="${px}" y="${py}" text-anchor="${anchor}" ${more}>${words}</text>`;
    const mend = (words) => words.replace(/[&<>"]/g, (letter) => `&#${letter.charCodeAt(0)};`);
    const high = (skin, u) => skin[0] + u * (skin[1] + u * skin[2]);
    const along = (skin, from, to) => Array.from({ length: 41 }, (_, index) => from + ((to - from) * index) / 40).filter((u) => Math.abs(u - middle) <= reach).map((u) => [u, high(skin, u)]);
    let out = dots(loose, "good", 1.8) + dots(used, "good-line", 2.2);
    skins.forEach((skin, which) => {
      if (seen(skin)) {
        const edge = skin[3] + skin[4] < 2 * middle ? skin[4] : skin[3];
        out += line(along(skin, skin[3], skin[4]), "second", 1.8) + line(along(skin, edge, middle), "second", 1, 'stroke-dasharray="4 3"');
      }
      const arc = arcs[which];
      if (!seen(arc)) return;
      const towards = arc[3] < arc[0] ? -1 : 1;
      const turns = Array.from({ length: 25 }, (_, index) => (index / 24) * 1.92);
      out += line(turns.map((turn) => [arc[0] + towards * arc[2] * Math.sin(turn), arc[1] + arc[2] * Math.cos(turn)]), "second", 1.8);
      out += `<circle cx="${x(arc[3])}" cy="${y(arc[4])}" r="3.2" fill="var(--text)"/>`;
    });
    const [, , gap, , , flush] = cellsOf(place);
    const tip = (px, py, dx, dy) => `<path d="M${px} ${py}l${-dx * 7 - dy * 2.6} ${-dy * 7 + dx * 2.6}l${dy * 5.2} ${-dx * 5.2}z" fill="var(--text)"/>`;
    if (gap && seen(arcs[0]) && seen(arcs[1])) {
      const [from, to] = [x(arcs[0][3]), x(arcs[1][3])].sort((one, other) => one - other);
      const level = 24;
      out += [0, 1].map((which) => `<path d="M${x(arcs[which][3])} ${y(arcs[which][4]) - 5}V${level - 5}" stroke="var(--muted)" stroke-width=".7"/>`).join("");
      out += to - from > 18
        ? `<path d="M${from} ${level}H${to}" stroke="var(--text)" stroke-width=".9"/>${tip(from, level, -1, 0)}${tip(to, level, 1, 0)}`
        : `<path d="M${from - 18} ${level}H${from}M${to} ${level}h18" stroke="var(--text)" stroke-width=".9"/>${tip(from, level, 1, 0)}${tip(to, level, -1, 0)}`;
      out += text((from + to) / 2, level - 7, gap, "middle", 'font-size="14" font-weight="600"');
    }
    if (flush && seen(skins[0]) && seen(skins[1])) {
      const heights = skins.map((skin) => y(high(skin, middle)));
      const px = x(middle);
      const below = Math.min(height - 58, Math.max(...arcs.filter(seen).map((arc) => y(arc[4] - 0.6 * arc[2])), y(0) + 24));
      heights.forEach((level, which) => {
        const away = level > heights[1 - which] || (level === heights[1 - which] && which) ? 1 : -1;
        out += `<path d="M${px} ${level}v${away * 16}M${px - 7} ${level}h14" stroke="var(--text)" stroke-width=".9"/>${tip(px, level, 0, -away)}`;
      });
      out += `<path d="M${px} ${Math.max(...heights) + 16}V${below + 2}" stroke="var(--muted)" stroke-width=".7"/>`;
      out += text(px, below + 16, flush, "middle", 'font-size="14" font-weight="600" paint-order="stroke" stroke="var(--paper)" stroke-width="5"');
    }
    const name = (side) => mend(seam.panels[side]) + (seam.datum === side ? ` (${mend(data.words.datum)})` : "");
    out += text(8, height - 20, name(0), "start", 'font-size="12" font-weight="600"') + text(width - 8, height - 20, name(1), "end", 'font-size="12" font-weight="600"');
    const bar = data.unit === "in" ? 6.35 : 5;
    out += `<path d="M8 ${height - 7}v-4m0 2h${bar * scale}m0 -2v4" fill="none" stroke="var(--text)"/>` + text(14 + bar * scale, height - 5, data.unit === "in" ? "1/4 in" : "5 mm", "start", 'font-size="11"');
    return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" role="img" aria-label="${mend(wordsOf(place).join(". "))}" fill="var(--text)">${out}</svg>`;
  };
