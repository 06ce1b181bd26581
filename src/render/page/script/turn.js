  // Where one looks from: turned about the car's upright, tilted, without perspective, so that lengths compare.
  const vector = {
    dot: (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2],
    cross: (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]],
    sum: (...terms) => [0, 1, 2].map((axis) => terms.reduce((total, [factor, v]) => total + factor * v[axis], 0)),
  };
  const forward = data.axes[0].map((value) => -value);
  const [, leftward, upward] = data.axes;
  const camera = { turn: 0.75, tilt: 0.6, target: [0, 0, 0], span: 1000 };
  const named = { front: [0, 0.02], left: [Math.PI / 2, 0.02], right: [-Math.PI / 2, 0.02], above: [Math.PI / 2, Math.PI / 2] };
  // Right, up and towards the eye.
  const basis = () => {
    const [c, s, ct, st] = [Math.cos(camera.turn), Math.sin(camera.turn), Math.cos(camera.tilt), Math.sin(camera.tilt)];
    const eye = vector.sum([ct * c, forward], [ct * s, leftward], [st, upward]);
    const right = vector.sum([-s, forward], [c, leftward]);
    return [right, vector.cross(eye, right), eye];
  };
  const lookAlong = (normal) => {
    camera.tilt = Math.asin(Math.max(-1, Math.min(1, vector.dot(normal, upward))));
    camera.turn = Math.atan2(vector.dot(normal, leftward), vector.dot(normal, forward));
  };
  // Puts all seams into a window of this shape, as large as they fit from where one looks.
  const everything = (width, height) => {
    const places = data.seams.flatMap((seam) => seam.along.map((_, index) => seam.points.slice(3 * index, 3 * index + 3)));
    if (!places.length || !width || !height) return;
    const axes = basis();
    const ranges = axes.map((axis) => {
      const along = places.map((place) => vector.dot(place, axis));
      return along.reduce(([low, high], value) => [Math.min(low, value), Math.max(high, value)], [Infinity, -Infinity]);
    });
    camera.target = vector.sum(...axes.map((axis, index) => [(ranges[index][0] + ranges[index][1]) / 2, axis]));
    const [across, up] = ranges.map(([low, high]) => high - low);
    const least = Math.min(width, height);
    camera.span = 1.3 * Math.max(across * (least / width), up * (least / height), 50);
  };
