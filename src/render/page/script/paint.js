  // Paints points and seams with WebGL: two small programs, nothing loaded from anywhere.
  const inkOf = (name) => {
    const text = getComputedStyle(root).getPropertyValue(`--${name}`).trim();
    return [1, 3, 5].map((at) => parseInt(text.slice(at, at + 2), 16) / 255);
  };
  const PLACE = `
uniform vec3 right; uniform vec3 up; uniform vec3 eye; uniform vec3 target; uniform vec3 scale;
vec3 place(vec3 p) { vec3 q = p - target; return vec3(dot(q, right), dot(q, up), -dot(q, eye)) * scale; }
`;
  const POINTS = [`${PLACE}
attribute vec3 point; attribute vec2 normal; uniform vec3 low; uniform float extent; uniform float size; varying float shade;
void main() {
  gl_Position = vec4(place(low + point * extent), 1.0);
  gl_PointSize = size;
  vec3 n = vec3(normal, 1.0 - abs(normal.x) - abs(normal.y));
  if (n.z < 0.0) n.xy = (1.0 - abs(n.yx)) * vec2(n.x < 0.0 ? -1.0 : 1.0, n.y < 0.0 ? -1.0 : 1.0);
  n = normalize(n);
  shade = 0.65 * abs(dot(n, eye)) + 0.35 * abs(dot(n, normalize(eye + up - 0.6 * right)));
}`, `
precision mediump float; varying float shade; uniform vec3 dark; uniform vec3 bright;
void main() { if (length(gl_PointCoord - 0.5) > 0.5) discard; gl_FragColor = vec4(mix(dark, bright, shade * shade), 1.0); }`];
  const LINES = [`${PLACE}
attribute vec3 from; attribute vec3 to; attribute vec3 corner; attribute vec3 ink; uniform vec2 pixel; uniform float lift; varying vec3 colour;
void main() {
  vec3 a = place(from); vec3 b = place(to);
  vec2 d = (b.xy - a.xy) / pixel; float l = length(d); d = l > 0.0 ? d / l : vec2(1.0, 0.0);
  vec3 p = corner.x > 0.5 ? b : a;
  p.xy += (vec2(-d.y, d.x) * corner.y + d * (corner.x - 0.5)) * corner.z * pixel;
  p.z -= lift; colour = ink; gl_Position = vec4(p, 1.0);
}`, `precision mediump float; varying vec3 colour; void main() { gl_FragColor = vec4(colour, 1.0); }`];
  const painter = (canvas) => {
    const gl = canvas.getContext("webgl", { antialias: true, alpha: true, preserveDrawingBuffer: true });
    if (!gl) return null;
    const program = (sources) => {
      const made = gl.createProgram();
      sources.forEach((source, index) => {
        const shader = gl.createShader(index ? gl.FRAGMENT_SHADER : gl.VERTEX_SHADER);
        gl.shaderSource(shader, source);
        gl.compileShader(shader);
        gl.attachShader(made, shader);
      });
      gl.linkProgram(made);
      return gl.getProgramParameter(made, gl.LINK_STATUS) ? made : null;
    };
    const [points, lines] = [program(POINTS), program(LINES)];
    if (!points || !lines) return null;
    const filled = (values) => {
      const buffer = gl.createBuffer();
      gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
      gl.bufferData(gl.ARRAY_BUFFER, values, gl.STATIC_DRAW);
      return buffer;
    };
    const cloud = filled(bytesOf("surface"));
    let [seams, count] = [null, 0];
    // Each station is the stretch half way to its neighbours; undecided is dashed, unseen dotted.
    const colour = () => {
      const values = [];
      data.seams.forEach((seam) => seam.inks.forEach((name, index) => {
        const at = (which) => seam.points.slice(3 * which, 3 * which + 3);
        const half = (which) => vector.sum([0.5, at(index)], [0.5, at(Math.min(seam.inks.length - 1, Math.max(0, which)))]);
        let [from, to] = [half(index - 1), half(index + 1)];
        const share = { undecided: 0.3, unseen: 0.4 }[name] || 0;
        [from, to] = [vector.sum([1 - share, from], [share, to]), vector.sum([share, from], [1 - share, to])];
        const wide = { "good-line": 2, undecided: 3, unseen: 1.6 }[name] || 4.5;
        const ink = inkOf(name);
        [[0, -1], [1, -1], [0, 1], [0, 1], [1, -1], [1, 1]].forEach(([end, side]) => values.push(...from, ...to, end, side, wide, ...ink));
      }));
      seams = filled(new Float32Array(values));
      count = values.length / 12;
    };
    const use = (made, [right, up, eye], scale) => {
      gl.useProgram(made);
      const set = (name, value) => gl.uniform3fv(gl.getUniformLocation(made, name), value);
      set("right", right); set("up", up); set("eye", eye); set("target", camera.target); set("scale", scale);
    };
    const attribute = (made, name, size, type, normal, stride, offset) => {
      const where = gl.getAttribLocation(made, name);
      gl.enableVertexAttribArray(where);
      gl.vertexAttribPointer(where, size, type, normal, stride, offset);
    };
    const paint = () => {
      const ratio = Math.min(2.5, devicePixelRatio || 1);
      const [width, height] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
      if (canvas.width !== width || canvas.height !== height) [canvas.width, canvas.height] = [width, height];
      gl.viewport(0, 0, width, height);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      gl.enable(gl.DEPTH_TEST);
      const axes = basis();
      const across = Math.min(width, height);
      const scale = [(2 * across) / width / camera.span, (2 * across) / height / camera.span, 0.1 / camera.span];
      const { count: total, low, step: unit } = data.surface;
      if (total) {
        use(points, axes, scale);
        gl.bindBuffer(gl.ARRAY_BUFFER, cloud);
        attribute(points, "point", 3, gl.UNSIGNED_SHORT, true, 8, 0);
        attribute(points, "normal", 2, gl.BYTE, true, 8, 6);
        const extent = unit * 65535;
        gl.uniform3fv(gl.getUniformLocation(points, "low"), low);
        gl.uniform1f(gl.getUniformLocation(points, "extent"), extent);
        const apart = ((extent / Math.sqrt(total)) * across) / camera.span;
        gl.uniform1f(gl.getUniformLocation(points, "size"), Math.max(1.5 * ratio, Math.min(14 * ratio, 1.1 * apart)));
        gl.uniform3fv(gl.getUniformLocation(points, "dark"), inkOf("good-line"));
        gl.uniform3fv(gl.getUniformLocation(points, "bright"), inkOf("band"));
        gl.drawArrays(gl.POINTS, 0, total);
      }
      if (!seams) colour();
      use(lines, axes, scale);
      gl.bindBuffer(gl.ARRAY_BUFFER, seams);
      [["from", 0], ["to", 12], ["corner", 24], ["ink", 36]].forEach(([name, offset]) => attribute(lines, name, 3, gl.FLOAT, false, 48, offset));
      gl.uniform2f(gl.getUniformLocation(lines, "pixel"), (2 * ratio) / width, (2 * ratio) / height);
      gl.uniform1f(gl.getUniformLocation(lines, "lift"), 12 * scale[2]);
      gl.drawArrays(gl.TRIANGLES, 0, count);
    };
    return { paint, recolour: () => { seams = null; } };
  };
