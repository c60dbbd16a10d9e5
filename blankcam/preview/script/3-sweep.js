'use strict';

/*
 * What a tool takes from a field of heights. Straight moves only; over every cell the lowest place
 * of the tool's end along the move is found in closed form (by halving for conical ends), so the
 * only error is between the cells.
 */
(function (bc) {
  /* The cutting end as a surface of revolution; same forms as the machine profiles. */
  function form(tool) {
    const R = tool.diameter / 2;
    const half = tool.angle / 2 * Math.PI / 180;
    if (tool.shape === 'flat') return { kind: 'flat', R, flat: R, ball: 0, tangent: R, slope: 0 };
    if (tool.shape === 'ball') return { kind: 'ball', R, flat: 0, ball: R, tangent: R, slope: 0 };
    const tip = tool.tip / 2;
    const slope = 1 / Math.tan(half);
    if (tool.shape === 'vee') return { kind: 'cone', R, flat: tip, ball: 0, tangent: tip, slope };
    return { kind: 'cone', R, flat: 0, ball: tip, tangent: tip * Math.cos(half), slope };
  }

  /* Height of the end over its tip at a distance r from the axis, r up to R. */
  function rise(f, r) {
    const inner = Math.min(r, f.tangent);
    const round = f.ball ? f.ball - Math.sqrt(Math.max(f.ball * f.ball - inner * inner, 0)) : 0;
    return round + f.slope * Math.max(r - f.tangent, 0);
  }

  function conical(f, u, w2, m, low, high) {
    const g = (t) => m * t + rise(f, Math.min(Math.sqrt(w2 + (u - t) * (u - t)), f.R));
    let a = low;
    let b = high;
    for (let i = 0; i < 48; i++) {
      const p = a + (b - a) * 0.382;
      const q = a + (b - a) * 0.618;
      if (g(p) < g(q)) b = q; else a = p;
    }
    return g((a + b) / 2);
  }

  /* Lowest height of the tool over a cell at u along and w2 = (distance aside)², from height 0. */
  function lowest(f, u, w2, L, m) {
    const q2 = f.R * f.R - w2;
    if (q2 < 0) return Infinity;
    const q = Math.sqrt(q2);
    const low = Math.max(0, u - q);
    const high = Math.min(L, u + q);
    if (low > high) return Infinity;
    if (f.kind === 'flat') return m * (m < 0 ? high : low);
    if (f.kind === 'cone') return conical(f, u, w2, m, low, high);
    const t = Math.min(Math.max(u - q * m / Math.sqrt(1 + m * m), low), high);
    const e = u - t;
    return m * t + f.R - Math.sqrt(Math.max(q2 - e * e, 0));
  }

  /* Lower the field (in place) by one straight move from a to b. */
  function sweep(field, f, ax, ay, az, bx, by, bz) {
    const { nx, ny, x0, dx, y0, dy, z } = field;
    const first = (v, o, d) => Math.max(0, Math.ceil((v - o) / d - 1e-9));
    const last = (v, o, d, n) => Math.min(n - 1, Math.floor((v - o) / d + 1e-9));
    const i0 = first(Math.min(ax, bx) - f.R, x0, dx);
    const i1 = last(Math.max(ax, bx) + f.R, x0, dx, nx);
    const j0 = first(Math.min(ay, by) - f.R, y0, dy);
    const j1 = last(Math.max(ay, by) + f.R, y0, dy, ny);
    const L = Math.hypot(bx - ax, by - ay);
    const still = L < 1e-9;
    const ux = still ? 1 : (bx - ax) / L;
    const uy = still ? 0 : (by - ay) / L;
    const m = still ? 0 : (bz - az) / L;
    const start = still ? Math.min(az, bz) : az;
    const floor = Math.min(az, bz);
    for (let j = j0; j <= j1; j++) {
      const py = y0 + j * dy - ay;
      for (let i = i0; i <= i1; i++) {
        const k = j * nx + i;
        if (!(z[k] > floor)) continue;
        const px = x0 + i * dx - ax;
        const aside = px * uy - py * ux;
        const h = start + lowest(f, px * ux + py * uy, aside * aside, still ? 0 : L, m);
        if (h < z[k]) z[k] = h;
      }
    }
  }

  /*
   * A program's stock at any of its points. Points already reached are kept every so often, so that
   * going back is quick as well.
   */
  class Replay {
    constructor(grid, top, path, tools, before) {
      this.path = path;
      this.forms = new Map(tools.map((t) => [t.number, form(t)]));
      this.field = Object.assign({}, grid, { z: new Float32Array(grid.nx * grid.ny).fill(top) });
      if (before) this.field.z.set(before);
      this.shown = Object.assign({}, this.field, { z: this.field.z.slice() });
      this.at = 0;
      this.top = top;
      this.every = Math.max(1, Math.ceil(path.n / 40));
      this.kept = new Map([[0, this.field.z.slice()]]);
    }

    move(field, i, part) {
      const p = this.path;
      const f = this.forms.get(p.tool[i]);
      if (!f || (p.z[i] >= this.top && p.z[i - 1] >= this.top)) return;
      const end = (a) => a[i - 1] + (a[i] - a[i - 1]) * part;
      sweep(field, f, p.x[i - 1], p.y[i - 1], p.z[i - 1], end(p.x), end(p.y), end(p.z));
    }

    /*
     * Heights once point k is reached, and a part of the move to the next; valid until called again.
     * Where `most` ms are not enough to come there, those of a point before; `reached` tells.
     */
    stand(k, part, most = Infinity) {
      const until = performance.now() + most;
      if (k < this.at || k - this.at > this.every) {
        const from = Math.max(...[...this.kept.keys()].filter((n) => n <= k));
        if (k < this.at || from > this.at) {
          this.field.z.set(this.kept.get(from));
          this.at = from;
        }
      }
      while (this.at < k && performance.now() < until) {
        this.at += 1;
        this.move(this.field, this.at, 1);
        if (this.at % this.every === 0 && !this.kept.has(this.at)) {
          this.kept.set(this.at, this.field.z.slice());
        }
      }
      this.shown.z.set(this.field.z);
      this.reached = this.at === k;
      if (this.reached && part > 0 && k + 1 < this.path.n) this.move(this.shown, k + 1, part);
      return this.shown;
    }
  }

  Object.assign(bc, { sweep: { form, rise, sweep, Replay } });
})(window.blankcam = window.blankcam || {});
