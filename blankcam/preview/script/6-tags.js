'use strict';

/* Words in a picture: each stands at its place, moved up or left out where two would meet. */
(function (bc) {
  const GAP = 3;

  class Tags {
    constructor(scene, box) {
      this.scene = scene;
      this.box = box;
      this.items = [];
      scene.after = () => this.place();
    }

    /* items: { words, at, cls, act } with the most needed first. */
    set(items) {
      this.box.replaceChildren();
      this.items = items.map((item) => {
        const e = document.createElement('span');
        e.textContent = item.words;
        e.className = item.cls || '';
        if (item.act) e.addEventListener('click', item.act);
        this.box.append(e);
        return { ...item, e, w: 0, h: 0 };
      });
    }

    place() {
      const taken = [];
      const { seen, wide, tall } = this.scene.looking();
      for (const t of this.items) if (!t.w) [t.w, t.h] = [t.e.offsetWidth, t.e.offsetHeight];
      for (const t of this.items) {
        const [x, y] = seen(t.at);
        const spot = this.free(x - t.w / 2, y - t.h / 2, t, taken, wide, tall);
        const look = spot ? `translate(${Math.round(spot[0])}px, ${Math.round(spot[1])}px)` : '';
        if (look !== t.look) {
          t.e.style.visibility = spot ? 'visible' : 'hidden';
          if (spot) t.e.style.transform = look;
          t.look = look;
        }
        if (!spot) continue;
        taken.push([spot[0], spot[1], t.w, t.h]);
      }
    }

    /* The nearest free spot; null where the place itself is out of the picture or there is none. */
    free(x, y, t, taken, wide, tall) {
      if (x < -t.w || y < -t.h || x > wide || y > tall) return null;
      const a = Math.min(Math.max(x, GAP), wide - t.w - GAP);
      const b = Math.min(Math.max(y, GAP), tall - t.h - GAP);
      for (const step of [0, -1, 1, -2, 2]) {
        const at = b + step * (t.h + GAP);
        if (at < 0 || at + t.h > tall) continue;
        if (taken.every((o) => a + t.w + GAP < o[0] || o[0] + o[2] + GAP < a ||
          at + t.h + GAP < o[1] || o[1] + o[3] + GAP < at)) return [a, at];
      }
      return null;
    }
  }

  Object.assign(bc, { tags: { Tags } });
})(window.blankcam = window.blankcam || {});
