'use strict';

/* Solids as triangles: three points of a place and a normal each, one after the other. */
(function (bc) {
  /* Rings of equal number of points into triangles with normals; a ring is [[x, y, z, nx, ny, nz]]. */
  function skin(rings) {
    const out = [];
    for (let r = 0; r + 1 < rings.length; r++) {
      const n = rings[r].length;
      for (let i = 0; i < n; i++) {
        const j = (i + 1) % n;
        const [a, b, c, d] = [rings[r][i], rings[r][j], rings[r + 1][i], rings[r + 1][j]];
        out.push(...a, ...b, ...c, ...c, ...b, ...d);
      }
    }
    return new Float32Array(out);
  }

  /* A tube round a line of points. */
  function tube(points, radius, sides = 14) {
    const rings = points.map((p, k) => {
      const a = points[Math.max(0, k - 1)];
      const b = points[Math.min(points.length - 1, k + 1)];
      const d = unit([b[0] - a[0], b[1] - a[1], b[2] - a[2]]);
      const side = unit(cross(d, [0, 0, 1]));
      const over = cross(side, d);
      return Array.from({ length: sides }, (_, i) => {
        const t = 2 * Math.PI * i / sides;
        const n = [0, 1, 2].map((c) => side[c] * Math.cos(t) + over[c] * Math.sin(t));
        return [...n.map((v, c) => p[c] + radius * v), ...n];
      });
    });
    return skin(rings);
  }

  /* A solid of revolution about z from (radius, height) pairs. */
  function lathe(profile, sides = 32) {
    const rings = [];
    for (let k = 0; k + 1 < profile.length; k++) {
      const [[r0, z0], [r1, z1]] = [profile[k], profile[k + 1]];
      const [nr, nz] = unit([z1 - z0, r0 - r1, 0]);
      for (const [r, z] of [[r0, z0], [r1, z1]]) {
        rings.push(Array.from({ length: sides }, (_, i) => {
          const t = 2 * Math.PI * i / sides;
          const [c, s] = [Math.cos(t), Math.sin(t)];
          return [r * c, r * s, z, nr * c, nr * s, nz];
        }));
      }
    }
    return skin(rings);
  }

  /* A block from its lowest to its highest corner, each side turned outward. */
  function block(low, high) {
    const out = [];
    for (let axis = 0; axis < 3; axis++) {
      const [a, b] = [(axis + 1) % 3, (axis + 2) % 3];
      for (const end of [low, high]) {
        const n = [0, 0, 0];
        n[axis] = end === low ? -1 : 1;
        for (const [s, t] of [[0, 0], [1, 0], [0, 1], [0, 1], [1, 0], [1, 1]]) {
          const p = [0, 0, 0];
          p[axis] = end[axis];
          p[a] = s ? high[a] : low[a];
          p[b] = t ? high[b] : low[b];
          out.push(...p, ...n);
        }
      }
    }
    return new Float32Array(out);
  }

  /* A surface between two lines of as many points, its four sides down to a height where there is one. */
  function loft(near, far, low) {
    const out = [];
    const quad = (a, b, c, d) => {
      const n = unit(cross(minus(b, a), minus(c, a)));
      for (const p of [a, b, c, c, b, d]) out.push(...p, ...n);
    };
    const down = (p) => [p[0], p[1], low];
    for (let i = 0; i + 1 < near.length; i++) {
      quad(near[i], near[i + 1], far[i], far[i + 1]);
      if (low === null) continue;
      quad(down(near[i]), down(near[i + 1]), near[i], near[i + 1]);
      quad(far[i], far[i + 1], down(far[i]), down(far[i + 1]));
    }
    if (low !== null) {
      for (const i of [0, near.length - 1]) quad(near[i], far[i], down(near[i]), down(far[i]));
    }
    return new Float32Array(out);
  }

  function minus(a, b) {
    return a.map((v, c) => v - b[c]);
  }

  function cross(a, b) {
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  }

  function unit(v) {
    const l = Math.hypot(...v) || 1;
    return v.map((c) => c / l);
  }

  Object.assign(bc, { shapes: { tube, lathe, block, loft } });
})(window.blankcam = window.blankcam || {});
