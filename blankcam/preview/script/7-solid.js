'use strict';

/* The nut and the saddle as they are left: the first picture of the page. */
(function (bc) {
  const $ = (id) => document.getElementById(id);
  const STAGES = { rough: 'rough', final: 'finished' };

  /* A row of radio buttons from (value, words) pairs. */
  function choices(box, name, pairs, chosen, act) {
    for (const old of box.querySelectorAll('label')) old.remove();
    for (const [value, words] of pairs) {
      const label = document.createElement('label');
      const input = document.createElement('input');
      Object.assign(input, { type: 'radio', name, value, checked: value === chosen });
      input.addEventListener('change', () => act(value));
      label.append(input, words);
      box.append(label);
    }
  }

  class SolidView {
    constructor(data) {
      this.data = data;
      this.scene = new bc.scene.Scene($('solid-canvas'));
      this.scene.look.limits = data.limits;
      this.marked = -1;
      bc.scene.steer(this.scene, () => this.scene.draw());
      choices($('choose-part'), 'part', data.parts.map((p, i) => [String(i), p.words]), '0',
        (v) => this.show(Number(v)));
      for (const name of ['corner', 'front', 'top', 'end']) {
        $('view-' + name).addEventListener('click', () => this.turn(name));
      }
      $('deviation').addEventListener('change', () => this.colour());
      $('span').addEventListener('change', () => this.colour());
      $('strings').addEventListener('change', () => this.strings());
      const canvas = this.scene.canvas;
      canvas.addEventListener('pointermove', (e) => this.point(e));
      canvas.addEventListener('click', (e) => this.point(e));
      canvas.addEventListener('pointerleave', () => this.mark(-1));
    }

    async show(index) {
      this.part = this.data.parts[index];
      this.camera = null;
      this.buttons();
      const stages = this.part.stages.map((s) => s.stage);
      const keep = this.stage && stages.includes(this.stage.stage) ? this.stage.stage : this.data.stage;
      const first = stages.includes(keep) ? keep : stages[0];
      choices($('choose-stage'), 'stage', stages.map((s) => [s, STAGES[s]]), first, (v) => this.load(v));
      await this.load(first);
    }

    async load(stage) {
      const s = this.part.stages.find((one) => one.stage === stage);
      if (!s.grid) {
        s.grid = await bc.unpack.heights(s.heights);
        s.off = s.deviation ? await bc.unpack.deviation(s.deviation) : null;
      }
      this.stage = s;
      this.scene.setSurface(s.grid, s.off);
      if (!this.camera) {
        const high = Math.max(...this.part.stages.map((o) => o.heights.low + 65534 * o.heights.step));
        this.camera = new bc.scene.Camera([...s.grid.box, 0, high]);
        this.scene.camera = this.camera;
      }
      $('solid-source').textContent = s.words;
      this.strings();
      this.colour();
      this.mark(-1);
    }

    turn(name) {
      this.camera.turn(name);
      this.scene.draw();
    }

    strings() {
      const lift = this.stage.stage === 'rough' ? 1 : 0;
      this.scene.solids = !$('strings').checked ? [] : this.part.strings.map((s) => {
        const points = s.points.map((p) => [p[0], p[1], p[2] + lift * s.raised]);
        const colour = s.wound ? [0.66, 0.50, 0.32, 1] : [0.62, 0.66, 0.70, 1];
        return this.scene.solid(bc.shapes.tube(points, s.gauge / 2), colour);
      });
      this.scene.draw();
    }

    colour() {
      const on = $('deviation').checked && Boolean(this.stage.off);
      const span = Number($('span').value);
      Object.assign(this.scene.look, { coloured: on, span });
      $('legend').hidden = !on;
      $('no-deviation').hidden = !($('deviation').checked && !this.stage.off);
      if (on) legend($('legend'), span, this.data.limits);
      this.scene.draw();
    }

    /* One button a slot, so that keyboard and touch reach its numbers too. */
    buttons() {
      $('spots').replaceChildren(...this.part.spots.map((spot, i) => {
        const b = document.createElement('button');
        b.type = 'button';
        b.textContent = spot.string + ' ' + spot.note;
        b.addEventListener('focus', () => this.mark(i));
        b.addEventListener('click', () => this.mark(i));
        b.addEventListener('blur', () => this.mark(-1));
        return b;
      }));
      $('spots-name').textContent = this.part.name === 'nut' ? 'Slots' : 'Strings';
    }

    point(e) {
      if (e.buttons) return;
      const r = this.scene.canvas.getBoundingClientRect();
      const hit = this.scene.pick(e.clientX - r.left, e.clientY - r.top);
      this.mark(hit ? this.near(hit.x) : -1, hit);
    }

    near(x) {
      let best = -1;
      let least = Infinity;
      this.part.spots.forEach((s, i) => {
        const d = Math.abs(s.x - x) - s.half;
        if (d < 0.7 && d < least) [best, least] = [i, d];
      });
      return best;
    }

    mark(i, hit) {
      const spot = this.part.spots[i];
      const look = this.scene.look;
      look.band = spot ? [spot.x, spot.half] : null;
      if (i !== this.marked) this.scene.draw();
      this.marked = i;
      const box = $('readout');
      box.replaceChildren();
      if (spot) box.append(facts(spot));
      if (hit) box.append(place(hit, this.stage.off));
      if (!spot && !hit) box.append($('hint').content.cloneNode(true));
    }
  }

  function facts(spot) {
    const p = document.createElement('p');
    const name = document.createElement('strong');
    name.textContent = 'String ' + spot.string + ', ' + spot.note + ': ';
    p.append(name, spot.facts.map((f) => f.words + '\u00a0' + (f.unit === 'mm'
      ? bc.units.length(f.value, f.digits) : f.value.toFixed(f.digits) + f.unit)).join(' · '));
    if (spot.remark) p.append(' · ' + spot.remark);
    return p;
  }

  function place(hit, off) {
    const p = document.createElement('p');
    const d = off ? off[hit.cell] : NaN;
    p.textContent = 'Here: ' + bc.units.length(hit.x, 2) + ' from the left end, '
      + bc.units.length(hit.z, 3) + ' over the seat' + (Number.isNaN(d) ? '' : ', '
        + (d === 0 ? 'as wanted' : Math.abs(d).toFixed(1) + ' µm ' + (d > 0 ? 'left standing' : 'too deep')));
    p.className = 'here';
    return p;
  }

  function legend(box, span, limits) {
    const bar = box.querySelector('canvas');
    const g = bar.getContext('2d');
    const n = bar.width;
    const scale = bc.colour.ramp(n);
    const image = g.createImageData(n, bar.height);
    for (let y = 0; y < bar.height; y++) {
      for (let x = 0; x < n; x++) {
        const off = (2 * x / (n - 1) - 1) * span;
        const dark = (off < -limits[0] || off > limits[1]) && (x + y) % 10 < 2 ? 0.25 : 1;
        for (let c = 0; c < 3; c++) image.data[4 * (y * n + x) + c] = dark * scale[4 * x + c];
        image.data[4 * (y * n + x) + 3] = 255;
      }
    }
    g.putImageData(image, 0, 0);
    const ticks = box.querySelectorAll('.ticks span');
    [-1, -0.5, 0, 0.5, 1].forEach((t, i) => {
      ticks[i].textContent = (t > 0 ? '+' : t < 0 ? '\u2212' : '') + Math.abs(t * span);
    });
  }

  Object.assign(bc, { solid: { SolidView, choices, facts } });
})(window.blankcam = window.blankcam || {});
