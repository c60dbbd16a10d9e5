'use strict';

/* Packed arrays back into numbers: base64, deflate, byte planes, differences (see packing.py). */
(function (bc) {
  const NOTHING = 65535;

  async function inflate(packed) {
    const raw = Uint8Array.from(atob(packed), (c) => c.charCodeAt(0));
    const stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream('deflate'));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  async function text(packed) {
    return new TextDecoder().decode(await inflate(packed)).split('\n');
  }

  async function json(packed) {
    return JSON.parse((await text(packed)).join('\n'));
  }

  async function words(packed) {
    const bytes = await inflate(packed);
    const n = bytes.length / 2;
    const out = new Uint16Array(n);
    let at = 0;
    for (let i = 0; i < n; i++) {
      at = (at + bytes[i] + (bytes[n + i] << 8)) & 65535;
      out[i] = at;
    }
    return out;
  }

  async function longs(packed) {
    const bytes = await inflate(packed);
    const n = bytes.length / 4;
    const out = new Int32Array(n);
    let at = 0;
    for (let i = 0; i < n; i++) {
      at = (at + (bytes[i] | (bytes[n + i] << 8) | (bytes[2 * n + i] << 16) |
        (bytes[3 * n + i] << 24))) | 0;
      out[i] = at;
    }
    return out;
  }

  /* A grid with its heights as floats; NaN where there is nothing. */
  async function heights(g) {
    const coded = await words(g.data);
    const z = new Float32Array(coded.length);
    for (let i = 0; i < z.length; i++) {
      const at = g.columns ? (i % g.ny) * g.nx + Math.floor(i / g.ny) : i;
      z[at] = coded[i] === NOTHING ? NaN : g.low + coded[i] * g.step;
    }
    return { nx: g.nx, ny: g.ny, x0: g.x0, dx: g.dx, y0: g.y0, dy: g.dy, box: g.box, z };
  }

  /* Deviations in micrometres; NaN where there is nothing. */
  async function deviation(packed) {
    const coded = await words(packed);
    const out = new Float32Array(coded.length);
    for (let i = 0; i < out.length; i++) {
      const tenths = coded[i] > 32767 ? coded[i] - 65536 : coded[i];
      out[i] = tenths === -32768 ? NaN : tenths / 10;
    }
    return out;
  }

  async function path(p) {
    const columns = ['x', 'y', 'z', 'line', 'rapid', 'tool', 'ms'];
    const got = await Promise.all(columns.map((name) => longs(p[name])));
    const scaled = (a) => Float64Array.from(a, (v) => v / 1e4);
    return {
      n: p.n, x: scaled(got[0]), y: scaled(got[1]), z: scaled(got[2]),
      line: got[3], rapid: got[4], tool: got[5], seconds: Float64Array.from(got[6], (v) => v / 1e3),
    };
  }

  Object.assign(bc, { unpack: { text, json, words, longs, heights, deviation, path } });
})(window.blankcam = window.blankcam || {});
