'use strict';

/* The nut and the saddle, in their seats or alone, from blank to finished: the page's first picture. */
(function (bc) {
  const $ = (id) => document.getElementById(id);
  const STANDINGS = ['blank', 'rough', 'refit', 'finished'];
  const LOOKS = {
    'plain steel': [[0.72, 0.76, 0.80, 1], 0], wound: [[0.80, 0.56, 0.33, 1], 1],
    nylon: [[0.90, 0.93, 0.93, 1], 2],
  };
  const WOOD = {
    board: [[0.27, 0.21, 0.18, 1], 3], neck: [[0.74, 0.55, 0.36, 1], 3], bridge: [[0.47, 0.32, 0.23, 1], 3],
    fret: [[0.72, 0.75, 0.77, 1], 0],
  };
  const INK = [0.09, 0.15, 0.18, 1];
  const SLOT_HALF = 4.2;  // mm: half the height of the picture at a slot
  const TAIL = 7;  // mm of string beyond a part that stands alone

  /* A row of radio buttons from (value, words) pairs. */
  function choices(box, name, pairs, chosen, act) {
    for (const old of box.querySelectorAll('label')) old.remove();
    for (const [value, words] of pairs) {
      const label = document.createElement('label');
      const input = document.createElement('input');
      Object.assign(input, { type: 'radio', name, value, checked: value === chosen });
      input.addEventListener('change', () => act(value));
      const said = document.createElement('span');
      said.append(words);
      label.append(input, said);
      box.append(label);
    }
  }

  class SolidView {
    constructor() {
      this.scene = new bc.scene.Scene($('solid-canvas'));
      this.tags = new bc.tags.Tags(this.scene, $('solid-tags'));
      this.seat = true;
      this.made = new Map();
      this.part = null;
      this.chosen = 0;
      this.near = false;
      this.heard = () => {};
      bc.scene.steer(this.scene, () => this.scene.draw());
      choices($('choose-where'), 'where', [['seat', 'In its seat'], ['alone', 'Alone']], 'seat', (v) => {
        this.seat = v === 'seat';
        this.whole();
      });
      for (const name of ['corner', 'front', 'top', 'end']) {
        $('view-' + name).addEventListener('click', () => this.turn(name));
      }
      $('deviation').addEventListener('change', () => this.colour());
      $('span').addEventListener('change', () => this.colour());
      $('strings').addEventListener('change', () => this.dress());
      $('opened').addEventListener('change', () => this.dress());
      $('standing').addEventListener('input', () => this.stand(Number($('standing').value)));
      this.listen(this.scene.canvas);
    }

    listen(canvas) {
      let down = null;
      canvas.addEventListener('pointerdown', (e) => { down = [e.clientX, e.clientY]; });
      canvas.addEventListener('pointermove', (e) => this.point(e));
      canvas.addEventListener('click', (e) => {
        const still = down && Math.hypot(e.clientX - down[0], e.clientY - down[1]) < 5;
        const hit = this.point(e);
        const i = still && hit ? this.nearest(hit.x) : -1;
        if (i >= 0) this.choose(i);
      });
      canvas.addEventListener('pointerleave', () => this.tell(null));
      canvas.closest('.solid').addEventListener('keydown', (e) => this.key(e));
    }

    key(e) {
      if (e.ctrlKey || e.altKey || e.metaKey || e.target.matches('select')) return;
      const i = /^[0-9]$/.test(e.key) ? this.part.spots.findIndex((s) => String(s.string) === e.key) : -1;
      if (i >= 0) this.choose(i);
      else if (e.key === 'Home' && e.target === this.scene.canvas) this.turn('corner');
    }

    /* Which part is shown. */
    get index() {
      return this.part ? this.data.parts.indexOf(this.part) : 0;
    }

    async unpack(data) {
      await unpacked(data.parts[this.index]);
    }

    /* A page's shapes; newer ones are seen from where one stood. */
    async take(data) {
      const { index } = this;
      const seen = this.part && [this.near, this.scene.camera.pose];
      this.data = data;
      this.made.clear();
      this.scene.forget();
      this.scene.look.limits = data.limits;
      if (!seen) this.standing = data.parts.some((p) => p.refit) ? 2 : data.stage === 'final' ? 3 : 1;
      choices($('choose-part'), 'part', data.parts.map((p, i) => [String(i), p.words]), String(index),
        (v) => this.show(Number(v)));
      await this.show(index, seen);
    }

    async show(index, seen = null) {
      const part = this.wanted = this.data.parts[index];
      await unpacked(part);
      if (part !== this.wanted) return;  // another was chosen, or a newer page came, meanwhile
      this.part = part;
      this.chosen = Math.min(this.chosen, this.part.spots.length - 1);
      this.buttons();
      this.stage = null;
      this.whole();
      if (seen) [this.near, this.scene.camera.pose] = seen;
      this.stand(this.standing);
      this.tell(null);
    }

    /* A stage's heights, or the blank before any cut, on the rough stage's cells. */
    standingOf(name) {
      const by = (stage) => this.part.stages.find((s) => s.stage === stage);
      if (name === 'finished') return by('final');
      const rough = by('rough');
      if (name === 'refit' && this.part.refit) return by('refit');
      if (name !== 'blank') return rough;
      const g = rough.grid;
      return this.once('blank', () => ({ grid: { ...g, z: new Float32Array(g.nx * g.ny).fill(this.part.stock) }, off: null }));
    }

    /* What a step comes to: what the refit asks for, else the finished part. */
    goalOf(name) {
      const asked = name === 'refit' && this.part.refit;
      return asked ? this.part.stages.find((s) => s.stage === 'asked') : this.standingOf('finished');
    }

    stand(n) {
      this.standing = n;
      const name = STANDINGS[n];
      this.stage = this.standingOf(name);
      $('standing').value = String(n);
      $('standing').setAttribute('aria-valuetext', name);
      this.say();
      $('solid-source').textContent = this.stage.words || '';
      [...$('standing').parentElement.querySelectorAll('.ticks span')].forEach((e, i) => {
        e.classList.toggle('on', i === n);
      });
      this.scene.setSurface(this.stage.grid, this.stage.off, true);
      this.scene.setGoal(name === 'finished' ? null : this.goalOf(name).grid);
      this.colour();
      this.dress();
      this.heard();
    }

    /* What is left at this step, in the unit chosen. */
    say() {
      $('standing-words').textContent = bc.units.said(this.part.standings[STANDINGS[this.standing]]);
    }

    /* The whole part, or all of its seat. */
    whole() {
      this.near = false;
      const g = this.part.stages[0].grid;
      const high = this.part.height + 1;
      const [long, thick] = [this.part.long, this.part.thick];
      const box = this.seat ? [-1, long + 1, ...(this.part.name === 'nut' ? [-13, thick + 9] : [-9, thick + 8]), -1, high]
        : [...g.box, 0, high];
      this.scene.camera = new bc.scene.Camera(box);
      if (this.stage) this.dress();
    }

    turn(name) {
      this.near = false;
      this.scene.turns = (this.scene.turns || 0) + 1;
      this.scene.moving = false;
      this.scene.camera.turn(name);
      this.dress();
    }

    /* To a slot, or a string's place on the saddle: the bone cut along it, the camera before it. */
    choose(i) {
      this.chosen = i;
      this.near = true;
      const spot = this.part.spots[i];
      for (const input of $('choose-string').querySelectorAll('input')) input.checked = Number(input.value) === i;
      this.dress();
      const side = this.keepsRight() ? -1 : 1;
      const high = this.heightAt(spot);
      this.scene.go([spot.x, this.part.thick * 0.35, high - 0.5, SLOT_HALF, side * 0.72, 0.33]);
      this.tell(null);
      this.heard();
    }

    heightAt(spot) {
      const s = this.part.strings.find((one) => one.string === spot.string);
      return s.points[1][2] - s.gauge / 2;
    }

    /* Whether the half to the right of the chosen place is kept when the part is cut open. */
    keepsRight() {
      return this.part.spots[this.chosen].x < this.part.long / 2;
    }

    /* Everything round the bone: cut, strings, wood, words. */
    dress() {
      const opened = this.near && $('opened').checked;
      const x = this.part.spots[this.chosen].x;
      const g = this.scene.surface ? this.scene.surface.grid : this.part.stages[0].grid;
      const ends = this.seat ? [0, this.part.long] : [g.box[0], g.box[1]];
      const kept = !opened ? ends : this.keepsRight() ? [x, ends[1]] : [ends[0], x];
      this.scene.look.within = kept;
      this.scene.look.cutAt = opened ? x : undefined;
      const inside = (at) => !opened || (this.keepsRight() ? at >= x - 0.01 : at <= x + 0.01);
      const strings = $('strings').checked ? this.part.strings.filter((s) => inside(s.points[1][0])) : [];
      const name = STANDINGS[this.standing];
      this.scene.solids = [
        ...(this.seat ? this.once('wood', () => this.wood()) : []),
        ...strings.map((s) => this.once(`${s.string} ${this.seat} ${this.lies(s) ? name : 'come'}`, () => this.cord(s))),
      ];
      this.scene.cords = strings.filter((s) => this.lies(s)).map((s) => this.shadowOf(s));
      this.scene.wires = this.once(`edges ${name} ${kept}`, () => this.edges(kept));
      this.words();
      this.scene.draw();
    }

    /* What is drawn of a part is made once and kept: nothing of it changes. */
    once(key, make) {
      const of = this.part.name + ' ' + key;
      if (!this.made.has(of)) this.made.set(of, make());
      return this.made.get(of);
    }

    /* Whether a string lies in its slot now. */
    lies(s) {
      const name = STANDINGS[this.standing];
      if (name === 'refit' && this.part.refit) return true;  // strung, or there were no readings
      return name === 'finished' || (name !== 'blank' && !s.filed);
    }

    /* A string's middle line: on the floors as they are now, or where it is to lie. */
    line(s) {
      const name = STANDINGS[this.standing];
      const now = name === 'refit' && this.part.refit ? s.now : s.raised;
      const up = name === 'finished' || !this.lies(s) ? 0 : now;
      const points = s.points.map((p) => [p[0], p[1], p[2] + up]);
      return this.seat ? points : trimmed(points, this.part.thick);
    }

    cord(s) {
      const [colour, kind] = this.lies(s) ? LOOKS[s.make] : [INK, 4];
      const tube = bc.shapes.tube(this.line(s), s.gauge / 2, 12);
      return this.scene.solid(tube, colour, kind, kind === 4 ? s.gauge / 2 : Math.max(0.22, 0.28 * s.gauge));
    }

    /* For the shadow: the place where it bends, and its slopes to both sides. */
    shadowOf(s) {
      const p = this.line(s);
      const [a, b, c] = [p[0], p[1], p[p.length - 1]];
      const slope = (u, v) => Math.abs(v[1] - u[1]) > 1e-6 ? (v[2] - u[2]) / (v[1] - u[1]) : 0;
      const low = a[1] < c[1] ? a : c;
      const high = a[1] < c[1] ? c : a;
      const across = (c[0] - a[0]) / (c[1] - a[1]);
      return [b[0], across, s.gauge / 2, b[2], b[1], slope(low, b), slope(b, high), low[1]];
    }

    wood() {
      return this.part.around.map((a) => this.scene.solid(bc.shapes.loft(a.near, a.far, a.low), ...WOOD[a.kind]));
    }

    /* The bone's edges: front and back along the top, and upright at its ends. */
    edges(kept) {
      const g = this.scene.surface && this.scene.surface.grid;
      if (!g) return [];
      const out = [];
      const at = (i, j) => g.z[j * g.nx + i];
      const places = [];
      for (let i = 0; i < g.nx; i++) {
        const x = g.x0 + i * g.dx;
        if (x >= kept[0] && x <= kept[1]) places.push(i);
      }
      if (places.length < 2) return [];
      for (const [j, y] of [[0, g.box[2]], [g.ny - 1, g.box[3]]]) {
        for (let k = 0; k + 1 < places.length; k++) {
          const [a, b] = [places[k], places[k + 1]];
          const [za, zb] = [at(a, j), at(b, j)];
          if (za > 0 && zb > 0) out.push(g.x0 + a * g.dx, y, za, g.x0 + b * g.dx, y, zb);
        }
        for (const [i, x] of [[places[0], kept[0]], [places[places.length - 1], kept[1]]]) {
          if (at(i, j) > 0) out.push(x, y, 0, x, y, at(i, j));
        }
      }
      for (const [i, x] of [[places[0], kept[0]], [places[places.length - 1], kept[1]]]) {
        for (let j = 0; j + 1 < g.ny; j++) {
          const [za, zb] = [at(i, j), at(i, j + 1)];
          if (za > 0 && zb > 0) out.push(x, g.y0 + j * g.dy, za, x, g.y0 + (j + 1) * g.dy, zb);
        }
      }
      return [this.scene.wire(new Float32Array(out), [0.28, 0.22, 0.13, 0.75])];
    }

    words() {
      const numbers = !$('strings').checked ? [] : this.part.strings.map((s, i) => {
        const p = this.line(s);
        const last = p[p.length - 1];
        const bend = p[Math.max(p.length - 2, 1)];
        const f = this.near ? (this.part.name === 'nut' ? 0.2 : 0.35) : this.part.name === 'nut' ? 0.55 : 0.8;
        const at = [0, 1, 2].map((c) => bend[c] + (last[c] - bend[c]) * f);
        at[2] += s.gauge / 2 + 0.6;
        const cls = 'number' + (this.lies(s) ? '' : ' come') + (i === this.chosen ? ' on' : '');
        return { words: String(s.string), at, cls, act: () => this.choose(i) };
      });
      const filed = this.part.strings.filter((s) => !this.lies(s));
      if (filed.length && numbers.length && STANDINGS[this.standing] !== 'blank') {
        const names = filed.map((s) => s.string).join(', ');
        const p = this.line(filed[0])[0];
        const q = this.line(filed[0])[1];
        numbers.push({ words: names + ': left to the file', at: q.map((v, c) => v + (p[c] - v) * 0.3 + (c === 2 ? 3 : 0)), cls: 'said' });
      }
      const fixed = this.near ? this.faces()
        : this.part.tags.filter((t) => t.seat === null || t.seat === this.seat);
      this.tags.set([...numbers, ...fixed.map((t) => ({ words: t.words, at: t.at, cls: 'said' }))]);
    }

    /* At a slot: which face is which, and what is cut. */
    faces() {
      const { part } = this;
      const spot = part.spots[this.chosen];
      const high = this.heightAt(spot);
      const way = this.keepsRight() ? 1 : -1;
      const nut = part.name === 'nut';
      const list = [
        { words: nut ? 'front face' : 'back face', at: [spot.x + way * 3, 0, high - 1.6] },
        { words: nut ? 'head' : 'to the nut', at: [spot.x, part.thick + (nut ? 2.2 : 4), high - 2.4] },
        { words: nut ? 'to the bridge' : 'to the pins', at: [spot.x + way * 1.2, -5, high - 1] },
      ];
      if ($('opened').checked) {
        list.push({ words: 'cut along string ' + spot.string, at: [spot.x, part.thick / 2, high - 1.8] });
      }
      return list;
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

    /* A card a string: number, note, gauge as a line, who makes its slot. */
    buttons() {
      const box = $('choose-string');
      choices(box, 'string', this.part.spots.map((s, i) => [String(i), '']), String(this.chosen),
        (v) => this.choose(Number(v)));
      [...box.querySelectorAll('label')].forEach((label, i) => {
        const spot = this.part.spots[i];
        const string = this.part.strings[i];
        const said = label.querySelector('span');
        const piece = (name, text) => {
          const e = document.createElement(name);
          e.textContent = text;
          return e;
        };
        const bar = piece('i', '');
        bar.className = string.make.replace(' ', '-') + ' w' + Math.min(8, Math.max(1, Math.round(string.gauge * 4)));
        bar.setAttribute('aria-hidden', 'true');
        said.append(piece('b', String(spot.string)), piece('small', spot.note), bar, piece('em', spot.by || '\u00a0'));
        label.querySelector('input').setAttribute('aria-label',
          'String ' + spot.string + ', ' + spot.note + (spot.by ? ', ' + spot.remark : ''));
        label.addEventListener('click', () => { if (this.chosen === i && !this.near) this.choose(i); });
      });
      const digits = this.part.spots.filter((s) => s.string < 10).length;
      $('keys').hidden = digits < 2;
    }

    point(e) {
      if (e.buttons) return null;
      const r = this.scene.canvas.getBoundingClientRect();
      const hit = this.scene.pick(e.clientX - r.left, e.clientY - r.top);
      this.tell(hit);
      return hit;
    }

    nearest(x) {
      let best = -1;
      let least = Infinity;
      this.part.spots.forEach((s, i) => {
        const d = Math.abs(s.x - x) - s.half;
        if (d < 1.2 && d < least) [best, least] = [i, d];
      });
      return best;
    }

    tell(hit) {
      const box = $('readout');
      box.replaceChildren(facts(this.part.spots[this.chosen]));
      box.append(hit ? place(hit, this.stage.off) : $('hint').content.cloneNode(true));
    }
  }

  /* A part's heights as numbers. */
  async function unpacked(part) {
    await Promise.all(part.stages.map(async (s) => {
      if (s.grid) return;
      const off = s.deviation ? await bc.unpack.deviation(s.deviation) : null;
      [s.off, s.grid] = [off, await bc.unpack.heights(s.heights)];
    }));
  }

  /* A line cut short a little beyond both faces of a part. */
  function trimmed(points, thick) {
    const cut = (p, q) => {
      const edge = q[1] < p[1] ? -TAIL : thick + TAIL;
      if (q[1] > -TAIL && q[1] < thick + TAIL) return q;
      const t = (edge - p[1]) / (q[1] - p[1]);
      return p.map((v, c) => v + (q[c] - v) * t);
    };
    const n = points.length;
    return [cut(points[1], points[0]), ...points.slice(1, n - 1), cut(points[n - 2], points[n - 1])];
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
