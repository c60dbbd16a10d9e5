'use strict';

/* The cut as it happens: a program's tool, path, text and stock at any moment. */
(function (bc) {
  const $ = (id) => document.getElementById(id);
  const LINES_ROUND = 5;
  const HURRIED = 1.5;  // ms of a frame for the stock while the slider moves or the cut plays
  const NEAR = 11;  // mm: half the height of the picture that follows the tool

  function clock(seconds) {
    const s = Math.round(seconds);
    return Math.floor(s / 60) + ':' + String(s % 60).padStart(2, '0');
  }

  /* Tool outline (radius, height over the tip), then shank, as far as it sticks out. */
  function outline(tool) {
    const f = bc.sweep.form(tool);
    const steps = 16;
    const out = [[0, 0]];
    for (let i = 1; i <= steps; i++) {
      const r = f.R * i / steps;
      if (f.kind === 'flat' && i < steps) continue;
      out.push([r, bc.sweep.rise(f, r)]);
    }
    const high = Math.max(tool.flute, out[out.length - 1][1]);
    out.push([f.R, high], [tool.shank / 2, high + Math.abs(tool.shank / 2 - f.R)],
      [tool.shank / 2, Math.max(tool.out, high + 1)], [0, Math.max(tool.out, high + 1)]);
    return out;
  }

  /* The stock and some room round it for the tool. */
  function roomy(p) {
    const b = p.cells.box;
    return [b[0] - 5, b[1] + 5, b[2] - 3, b[3] + 3, p.bottom, p.top + 14];
  }

  class CutView {
    constructor() {
      this.scene = new bc.scene.Scene($('cut-canvas'));
      this.playing = 0;
      bc.scene.steer(this.scene, () => this.scene.draw());
      $('program').addEventListener('change', () => this.load(Number($('program').value)));
      $('scrub').addEventListener('input', () => { this.stop(); this.seek(Number($('scrub').value), true); });
      $('play').addEventListener('click', () => this.playing ? this.stop() : this.play());
      $('line-back').addEventListener('click', () => this.step(-1));
      $('line-on').addEventListener('click', () => this.step(1));
      $('to-end').addEventListener('click', () => { this.stop(); this.seek(this.total); });
      $('follow').addEventListener('change', () => { this.frame(); this.seek(this.now); });
      for (const name of ['show-path', 'show-held']) {
        $(name).addEventListener('change', () => this.seek(this.now));
      }
      for (const name of ['corner', 'front', 'top', 'end']) {
        $('cut-' + name).addEventListener('click', () => {
          this.scene.camera.turn(name);
          if ($('follow').checked) this.scene.camera.size = NEAR;
          this.seek(this.now);
        });
      }
    }

    /* Which of a page's programs is shown: the one that was shown of the page before. */
    indexIn(programs) {
      return Math.max(programs.findIndex((p) => this.program && p.file === this.program.file), 0);
    }

    async unpack(programs) {
      await this.ready(programs, this.indexIn(programs));
    }

    /* A page's programs; newer ones are seen from where one stood, at the same time. */
    async take(programs) {
      const index = this.indexIn(programs);
      const seen = this.program && [this.now, this.scene.camera.pose];
      this.programs = programs;
      $('program').value = String(index);
      await this.load(index);
      if (!seen) return;
      this.scene.camera.pose = seen[1];
      this.seek(seen[0]);
    }

    async load(index) {
      this.stop();
      const p = this.wanted = this.programs[index];
      await this.ready(this.programs, index);
      if (p !== this.wanted) return; // another was chosen meanwhile
      this.scene.forget();
      this.program = p;
      this.replay = p.replay;
      this.total = p.way.seconds[p.way.n - 1];
      $('scrub').max = String(this.total);
      this.frame();
      this.scene.look.ground = p.bottom;
      this.solids = new Map(p.tools.map((t) => [t.number,
        this.scene.solid(bc.shapes.lathe(outline(t)), [0.45, 0.52, 0.58, 0.72])]));
      this.held = p.held.map((b) => this.scene.solid(
        bc.shapes.block(b.slice(0, 3), b.slice(3)), [0.36, 0.44, 0.62, 0.26]));
      this.wires();
      this.chapters();
      $('held').textContent = 'Held: ' + p.holds;
      this.seek(0);
    }

    /* The whole stock, or as near to the tool as it can be read. */
    frame() {
      this.scene.camera = new bc.scene.Camera(roomy(this.program));
      if ($('follow').checked) this.scene.camera.size = NEAR;
    }

    /* A button an operation, and its share of the time under the scrubber. */
    chapters() {
      const w = this.program.way;
      const first = (line) => {
        let k = 0;
        while (k < w.n - 1 && w.line[k] < line) k++;
        return w.seconds[k];
      };
      this.starts = this.program.chapters.map((c) => first(c[0]));
      const buttons = this.program.chapters.map(([, name, words, tool], i) => {
        const item = document.createElement('li');
        const b = document.createElement('button');
        b.type = 'button';
        b.textContent = name + ' T' + tool;
        b.setAttribute('aria-label', name + ' T' + tool + ': ' + words);
        b.addEventListener('click', () => { this.stop(); this.seek(this.starts[i] + 1e-3); });
        item.append(b);
        return item;
      });
      $('chapters').replaceChildren(...buttons);
      $('track').replaceChildren(...this.starts.map((at, i) => {
        const e = document.createElement('span');
        const end = i + 1 < this.starts.length ? this.starts[i + 1] : this.total;
        e.style.flexGrow = String(Math.max(end - at, 0));
        return e;
      }));
    }

    /* The operation that is running, marked; its words. */
    tellChapter() {
      let i = -1;
      this.starts.forEach((at, k) => { if (at <= this.now + 1e-6) i = k; });
      const mark = (box, pick) => [...box.children].forEach((e, k) => pick(e).classList.toggle('on', k === i));
      mark($('track'), (e) => e);
      mark($('chapters'), (e) => e.firstChild);
      const c = this.program.chapters[i];
      $('doing').textContent = c ? 'Operation ' + (i + 1) + ' of ' + this.starts.length + ': ' + c[2] : '';
    }

    /* What a line of the program does, in words. */
    meaning(line) {
      const text = this.program.lines[line - 1] || '';
      const code = text.replace(/\(.*?\)|;.*/g, '');
      const has = (re) => re.test(code);
      if (!code.trim()) return 'a remark';
      if (has(/M3(?!\d)/)) return 'the spindle starts, ' + (code.match(/S(\d+)/) || ['', '?'])[1] + ' turns a minute';
      if (has(/M5(?!\d)/)) return 'the spindle stops';
      if (has(/M6(?!\d)/)) return 'fit the next tool';
      if (has(/M30|M2(?!\d)/)) return 'the end';
      if (has(/G4(?!\d)/)) return 'waits for the spindle';
      if (!has(/[XYZ]/)) return 'settings';
      let [kind, feed] = ['', ''];
      for (let k = line - 1; k >= 0 && !(kind && feed); k--) {
        const before = this.program.lines[k].replace(/\(.*?\)|;.*/g, '');
        if (!kind) kind = (before.match(/G0?([0-3])(?!\d)/) || ['', ''])[1];
        if (!feed) feed = (before.match(/F([\d.]+)/) || ['', ''])[1];
      }
      if (kind === '0') return 'moves fast, clear of the part';
      return 'cuts ' + (kind === '1' ? 'straight' : 'round an arc') + (feed ? ' at ' + Number(feed) + ' a minute' : '');
    }

    /* Unpack a program; its stock is what the program before it left. */
    async ready(programs, index) {
      const p = programs[index];
      if (p.replay) return;
      [p.way, p.lines] = await Promise.all([bc.unpack.path(p.path), bc.unpack.text(p.text)]);
      let before = p.start ? (await bc.unpack.heights(p.start)).z : null;
      if (p.after !== null) {
        const other = programs[p.after];
        await this.ready(programs, p.after);
        before = other.replay.stand(other.way.n - 1, 0).z;
      }
      p.replay = new bc.sweep.Replay(p.cells, p.top, p.way, p.tools, before);
    }

    /* Two sets of strokes, at feed and rapid, and how many of each have been made at a point. */
    wires() {
      const w = this.program.way;
      const sets = [[], []];
      this.counts = [new Int32Array(w.n), new Int32Array(w.n)];
      for (let i = 1; i < w.n; i++) {
        sets[w.rapid[i]].push(w.x[i - 1], w.y[i - 1], w.z[i - 1], w.x[i], w.y[i], w.z[i]);
        for (const k of [0, 1]) this.counts[k][i] = sets[k].length / 3;
      }
      this.scene.wires = [
        this.scene.wire(new Float32Array(sets[0]), [0.05, 0.42, 0.48, 0.55]),
        this.scene.wire(new Float32Array(sets[1]), [0.72, 0.36, 0.10, 0.40]),
      ];
    }

    /* Show the moment at so many seconds; its stock at once, or as frames have time where `hurried`. */
    seek(seconds, hurried = false) {
      const w = this.program.way;
      const t = Math.min(Math.max(seconds, 0), this.total);
      let [low, high] = [0, w.n - 1];
      while (low < high) {
        const mid = (low + high + 1) >> 1;
        if (w.seconds[mid] <= t) low = mid; else high = mid - 1;
      }
      const next = Math.min(low + 1, w.n - 1);
      const gap = w.seconds[next] - w.seconds[low];
      this.now = t;
      this.index = low;
      const part = gap > 0 ? (t - w.seconds[low]) / gap : 0;
      this.show(low, next, part);
      this.stock(low, part, hurried ? HURRIED : Infinity);
    }

    /* The stock at a point, in the frames after this one where `most` ms are not enough. */
    stock(k, part, most) {
      const program = this.program;
      cancelAnimationFrame(this.late);
      this.scene.setSurface(this.replay.stand(k, part, most), null);
      this.scene.draw();
      if (this.replay.reached) return;
      this.late = requestAnimationFrame(() => { if (program === this.program) this.stock(k, part, most); });
    }

    show(k, next, part) {
      const w = this.program.way;
      const tool = w.tool[part > 0 ? next : k];
      const solid = this.solids.get(tool);
      const shown = $('show-path').checked;
      this.scene.wires.forEach((wire, i) => { wire.count = shown ? this.counts[i][k] : 0; });
      if (solid) solid.shift = [w.x, w.y, w.z].map((a) => a[k] + (a[next] - a[k]) * part);
      this.scene.solids = solid ? [solid] : [];
      if ($('show-held').checked) this.scene.solids.push(...this.held);
      if ($('follow').checked) this.scene.camera.target = solid ? solid.shift.map((v, c) => c === 2 ? v + 3 : v) : this.scene.camera.target;
      this.scene.draw();
      this.tell(w.line[part > 0 ? next : k], tool);
    }

    tell(line, number) {
      const p = this.program;
      const tool = p.tools.find((t) => t.number === number);
      $('scrub').value = String(this.now);
      const said = clock(this.now) + ' of about ' + clock(this.total);
      $('time').textContent = said;
      $('scrub').setAttribute('aria-valuetext', said + ', line ' + line);
      $('tool').textContent = tool ? 'Tool ' + tool.number + ': ' + tool.words : '';
      $('line').textContent = 'Line ' + line + ' of ' + p.lines.length;
      $('meaning').textContent = this.meaning(line);
      this.tellChapter();
      const from = Math.max(1, Math.min(line - LINES_ROUND, p.lines.length - 2 * LINES_ROUND));
      const rows = p.lines.slice(from - 1, from + 2 * LINES_ROUND);
      $('listing').replaceChildren(...rows.map((text, i) => {
        const row = document.createElement('div');
        const n = document.createElement('span');
        n.textContent = String(from + i);
        row.append(n, ' ' + text);
        if (from + i === line) row.className = 'current';
        return row;
      }));
    }

    /* To the end of the line before or after. */
    step(way) {
      this.stop();
      const w = this.program.way;
      const line = w.line[this.index];
      let k = this.index;
      while (k + way >= 0 && k + way < w.n && w.line[k] === line) k += way;
      while (way > 0 && k + 1 < w.n && w.line[k + 1] === w.line[k]) k += 1;
      this.seek(w.seconds[k]);
    }

    play() {
      if (this.now >= this.total) this.seek(0);
      $('play').textContent = 'Pause';
      const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
      let last = performance.now();
      const tick = (time) => {
        const passed = (time - last) / 1000;
        if (!still || passed > 1) {
          last = time;
          this.seek(this.now + passed * Number($('speed').value), true);
        }
        if (this.now >= this.total) this.stop();
        else if (this.playing) this.playing = requestAnimationFrame(tick);
      };
      this.playing = requestAnimationFrame(tick);
    }

    stop() {
      cancelAnimationFrame(this.playing);
      this.playing = 0;
      $('play').textContent = 'Play';
    }
  }

  Object.assign(bc, { cut: { CutView, outline, clock } });
})(window.blankcam = window.blankcam || {});
