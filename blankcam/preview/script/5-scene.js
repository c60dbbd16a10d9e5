'use strict';

/* Drawing with WebGL2: a surface of heights, solids, lines; parallel projection. */
(function (bc) {
  const SURFACE = `#version 300 es
    precision highp float;
    precision highp int;
    uniform highp sampler2D heights, deviations;
    uniform ivec2 size;
    uniform vec4 grid, box;
    uniform float ground;
    uniform mat4 view;
    out vec3 place;
    out float off, there;
    const ivec2 CORNERS[6] = ivec2[6](ivec2(0,0), ivec2(1,0), ivec2(0,1), ivec2(0,1), ivec2(1,0), ivec2(1,1));
    void main() {
      int w = size.x + 4, h = size.y + 4;
      int quad = gl_VertexID / 6;
      ivec2 at = ivec2(quad % (w - 1), quad / (w - 1)) + CORNERS[gl_VertexID % 6];
      ivec2 cell = clamp(at - 2, ivec2(0), size - 1);
      vec2 p = grid.xy + vec2(cell) * grid.zw;
      if (at.x < 2) p.x = box.x; else if (at.x > w - 3) p.x = box.y;
      if (at.y < 2) p.y = box.z; else if (at.y > h - 3) p.y = box.w;
      float z = texelFetch(heights, cell, 0).r;
      bool rim = at.x == 0 || at.y == 0 || at.x == w - 1 || at.y == h - 1;
      there = z < ground ? 0.0 : 1.0;
      off = rim ? 1e9 : texelFetch(deviations, cell, 0).r;
      if (rim || z < ground) z = ground;
      place = vec3(p, z);
      gl_Position = view * vec4(place, 1.0);
    }`;
  const SKIN = `#version 300 es
    precision highp float;
    uniform sampler2D ramp;
    uniform vec3 base, toward, right, up;
    uniform vec2 limits;
    uniform float span, marked;
    uniform vec2 band;
    uniform int coloured;
    in vec3 place;
    in float off, there;
    out vec4 colour;
    void main() {
      if (there < 0.02) discard;
      vec3 n = normalize(cross(dFdx(place), dFdy(place)));
      if (dot(n, toward) < 0.0) n = -n;
      vec3 lamp = normalize(toward + up * 0.45 - right * 0.3);
      float light = 0.30 + 0.66 * max(dot(n, lamp), 0.0) + 0.1 * n.z;
      vec3 c = base;
      if (coloured == 1 && abs(off) < 1e6) {
        c = texture(ramp, vec2(0.5 + 0.5 * clamp(off / span, -1.0, 1.0), 0.5)).rgb;
        light = 0.72 + 0.28 * light;
        if ((off < -limits.x || off > limits.y) && mod(gl_FragCoord.x + gl_FragCoord.y, 10.0) < 2.0) c *= 0.25;
      }
      float inside = step(abs(place.x - band.x), band.y);
      c = mix(c, vec3(0.10, 0.52, 0.55), 0.45 * marked * inside);
      colour = vec4(c * light, 1.0);
    }`;
  const SOLID = `#version 300 es
    precision highp float;
    layout(location = 0) in vec3 point;
    layout(location = 1) in vec3 normal;
    uniform mat4 view;
    uniform vec3 shift;
    out vec3 n;
    void main() { n = normal; gl_Position = view * vec4(point + shift, 1.0); }`;
  const PAINT = `#version 300 es
    precision highp float;
    uniform vec4 base;
    uniform vec3 toward, right, up;
    in vec3 n;
    out vec4 colour;
    void main() {
      vec3 m = normalize(n);
      vec3 lamp = normalize(toward * 0.8 + up * 0.75 - right * 0.6);
      float shine = pow(max(dot(reflect(-lamp, m), toward), 0.0), 18.0);
      colour = vec4(base.rgb * (0.35 + 0.65 * max(dot(m, lamp), 0.0)) + 0.25 * shine, base.a);
    }`;
  const WIRE = `#version 300 es
    precision highp float;
    layout(location = 0) in vec3 point;
    uniform mat4 view;
    void main() { gl_Position = view * vec4(point, 1.0); gl_Position.z -= 0.004; }`;
  const INK = `#version 300 es
    precision highp float;
    uniform vec4 base;
    out vec4 colour;
    void main() { colour = base; }`;

  function program(gl, vertex, fragment) {
    const p = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      gl.attachShader(p, shader);
    }
    gl.linkProgram(p);
    if (!gl.getProgramParameter(p, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(p));
    const names = {};
    for (let i = 0; i < gl.getProgramParameter(p, gl.ACTIVE_UNIFORMS); i++) {
      const name = gl.getActiveUniform(p, i).name;
      names[name] = gl.getUniformLocation(p, name);
    }
    return { p, u: names };
  }

  /* Where one looks from. Yaw 0, pitch 0: from the bridge to the head, x to the right. */
  class Camera {
    constructor(box) {
      this.box = box;
      this.fit();
      this.turn('corner');
    }

    fit() {
      const b = this.box;
      this.target = [0, 1, 2].map((c) => (b[2 * c] + b[2 * c + 1]) / 2);
      this.size = 0;
    }

    turn(name) {
      const views = { front: [0, 0], top: [0, 90], end: [90, 0], corner: [-28, 32] };
      [this.yaw, this.pitch] = views[name].map((d) => d * Math.PI / 180);
      this.fit();
    }

    axes() {
      const [cy, sy, cp, sp] = [Math.cos(this.yaw), Math.sin(this.yaw), Math.cos(this.pitch),
        Math.sin(this.pitch)];
      return { right: [cy, sy, 0], up: [-sy * sp, cy * sp, cp], toward: [sy * cp, -cy * cp, sp] };
    }

    /* Half the height of the picture in mm, as zoomed or so that all is seen. */
    half(aspect) {
      if (this.size) return this.size;
      const { right, up } = this.axes();
      const b = this.box;
      const reach = (axis) => [0, 1, 2].reduce(
        (sum, c) => sum + Math.abs(axis[c]) * (b[2 * c + 1] - b[2 * c]) / 2, 0);
      return 1.08 * Math.max(reach(up), reach(right) / aspect);
    }

    matrix(aspect) {
      const { right, up, toward } = this.axes();
      const h = this.half(aspect);
      const row = (axis, s) => [...axis.map((v) => v * s),
        -s * axis.reduce((sum, v, c) => sum + v * this.target[c], 0)];
      const r = [row(right, 1 / (h * aspect)), row(up, 1 / h), row(toward, -1 / 400), [0, 0, 0, 1]];
      return new Float32Array([0, 1, 2, 3].flatMap((c) => r.map((line) => line[c])));
    }

    rotate(yaw, pitch) {
      this.yaw += yaw;
      this.pitch = Math.min(Math.max(this.pitch + pitch, -0.15), Math.PI / 2);
    }

    /* Shift by parts of the picture's half height. */
    pan(a, b, aspect) {
      const { right, up } = this.axes();
      const h = this.half(aspect);
      this.target = this.target.map((v, c) => v - h * (a * right[c] + b * up[c]));
    }

    /* Zoom keeping the place at (a, b), parts of the half height from the middle. */
    zoom(factor, a, b, aspect) {
      const { right, up } = this.axes();
      const before = this.half(aspect);
      const after = Math.min(Math.max(before / factor, 0.15), 120);
      this.size = after;
      this.target = this.target.map((v, c) => v + (before - after) * (a * right[c] + b * up[c]));
    }
  }

  class Scene {
    constructor(canvas) {
      const gl = canvas.getContext('webgl2', { antialias: true, preserveDrawingBuffer: true });
      if (!gl) throw new Error('no WebGL2');
      this.canvas = canvas;
      this.gl = gl;
      this.programs = {
        surface: program(gl, SURFACE, SKIN), solid: program(gl, SOLID, PAINT), wire: program(gl, WIRE, INK),
      };
      this.empty = gl.createVertexArray();
      this.ramp = this.texture();
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, 256, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, bc.colour.ramp(256));
      this.solids = [];
      this.wires = [];
      this.surface = null;
      this.look = { coloured: false, span: 20, limits: [5, 20], band: null, ground: 0 };
      this.pending = false;
      new ResizeObserver(() => this.draw()).observe(canvas);
    }

    texture() {
      const { gl } = this;
      const t = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, t);
      for (const [name, value] of [[gl.TEXTURE_MIN_FILTER, gl.NEAREST], [gl.TEXTURE_MAG_FILTER, gl.NEAREST],
        [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE]]) {
        gl.texParameteri(gl.TEXTURE_2D, name, value);
      }
      return t;
    }

    upload(t, grid, values, nothing) {
      const { gl } = this;
      const clean = values ? values.map((v) => Number.isNaN(v) ? nothing : v)
        : new Float32Array(grid.nx * grid.ny).fill(nothing);
      gl.bindTexture(gl.TEXTURE_2D, t);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.R32F, grid.nx, grid.ny, 0, gl.RED, gl.FLOAT, clean);
    }

    /* Show a grid of heights, and deviations over the same cells or null. */
    setSurface(grid, deviations) {
      if (!this.surface) this.surface = { heights: this.texture(), deviations: this.texture() };
      this.surface.grid = grid;
      this.upload(this.surface.heights, grid, grid.z, -1e6);
      if (this.surface.of !== deviations || deviations || !this.surface.sized) {
        this.upload(this.surface.deviations, grid, deviations, 1e9);
        this.surface.of = deviations;
        this.surface.sized = true;
      }
    }

    solid(vertices, colour) {
      const { gl } = this;
      const vao = gl.createVertexArray();
      gl.bindVertexArray(vao);
      gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ARRAY_BUFFER, vertices, gl.STATIC_DRAW);
      gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 24, 0);
      gl.vertexAttribPointer(1, 3, gl.FLOAT, false, 24, 12);
      gl.enableVertexAttribArray(0);
      gl.enableVertexAttribArray(1);
      return { vao, count: vertices.length / 6, colour, shift: [0, 0, 0] };
    }

    wire(vertices, colour) {
      const { gl } = this;
      const vao = gl.createVertexArray();
      gl.bindVertexArray(vao);
      gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ARRAY_BUFFER, vertices, gl.STATIC_DRAW);
      gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 12, 0);
      gl.enableVertexAttribArray(0);
      return { vao, count: vertices.length / 3, colour };
    }

    /* Ask for a new picture; several asks make one. */
    draw() {
      if (this.pending) return;
      this.pending = true;
      requestAnimationFrame(() => {
        this.pending = false;
        this.render();
      });
    }

    get aspect() {
      return this.canvas.clientWidth / Math.max(this.canvas.clientHeight, 1);
    }

    render() {
      const { gl, canvas, camera } = this;
      if (!camera || !canvas.clientWidth) return;
      const ratio = Math.min(window.devicePixelRatio || 1, 2);
      const [w, h] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
      if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
      gl.viewport(0, 0, w, h);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      gl.enable(gl.DEPTH_TEST);
      gl.enable(gl.BLEND);
      gl.blendFuncSeparate(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA, gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
      const eye = camera.axes();
      const view = camera.matrix(this.aspect);
      this.renderSurface(view, eye);
      this.renderWires(view);
      this.renderSolids(view, eye);
    }

    lights(u, view, eye) {
      const { gl } = this;
      gl.uniformMatrix4fv(u.view, false, view);
      for (const name of ['toward', 'right', 'up']) gl.uniform3fv(u[name], eye[name]);
    }

    renderSurface(view, eye) {
      const { gl, surface, look } = this;
      if (!surface) return;
      const { p, u } = this.programs.surface;
      const g = surface.grid;
      gl.useProgram(p);
      gl.bindVertexArray(this.empty);
      this.lights(u, view, eye);
      [surface.heights, surface.deviations, this.ramp].forEach((t, i) => {
        gl.activeTexture(gl.TEXTURE0 + i);
        gl.bindTexture(gl.TEXTURE_2D, t);
      });
      gl.activeTexture(gl.TEXTURE0);
      gl.uniform1i(u.heights, 0);
      gl.uniform1i(u.deviations, 1);
      gl.uniform1i(u.ramp, 2);
      gl.uniform2i(u.size, g.nx, g.ny);
      gl.uniform4f(u.grid, g.x0, g.y0, g.dx, g.dy);
      gl.uniform4fv(u.box, g.box);
      gl.uniform1f(u.ground, look.ground);
      gl.uniform3f(u.base, 0.93, 0.89, 0.79);
      gl.uniform1i(u.coloured, look.coloured ? 1 : 0);
      gl.uniform1f(u.span, look.span);
      gl.uniform2fv(u.limits, look.limits);
      gl.uniform1f(u.marked, look.band ? 1 : 0);
      gl.uniform2fv(u.band, look.band || [0, 0]);
      gl.drawArrays(gl.TRIANGLES, 0, 6 * (g.nx + 3) * (g.ny + 3));
    }

    renderSolids(view, eye) {
      const { gl } = this;
      const { p, u } = this.programs.solid;
      gl.useProgram(p);
      this.lights(u, view, eye);
      gl.polygonOffset(1, 2);  // where a jaw lies on the blank, the blank is seen
      for (const s of this.solids) {
        const through = s.colour[3] < 0.5;
        gl.depthMask(!through);  // what one looks through hides nothing
        (through ? gl.enable : gl.disable).call(gl, gl.POLYGON_OFFSET_FILL);
        gl.bindVertexArray(s.vao);
        gl.uniform4fv(u.base, s.colour);
        gl.uniform3fv(u.shift, s.shift);
        gl.drawArrays(gl.TRIANGLES, 0, s.count);
      }
      gl.depthMask(true);
      gl.disable(gl.POLYGON_OFFSET_FILL);
    }

    renderWires(view) {
      const { gl } = this;
      const { p, u } = this.programs.wire;
      gl.useProgram(p);
      gl.uniformMatrix4fv(u.view, false, view);
      for (const w of this.wires) {
        gl.bindVertexArray(w.vao);
        gl.uniform4fv(u.base, w.colour);
        gl.drawArrays(gl.LINES, 0, w.count);
      }
    }

    /* The place on the surface under a point of the canvas (CSS pixels), or null. */
    pick(px, py) {
      if (!this.surface) return null;
      const g = this.surface.grid;
      const { right, up, toward } = this.camera.axes();
      const half = this.camera.half(this.aspect);
      const s = 2 * half / this.canvas.clientHeight;
      const a = (px - this.canvas.clientWidth / 2) * s;
      const b = (this.canvas.clientHeight / 2 - py) * s;
      const reach = 120;
      const from = this.camera.target.map((v, c) => v + a * right[c] + b * up[c] + reach * toward[c]);
      const step = Math.min(g.dx, g.dy) / 2;
      for (let t = 0; t < 2 * reach; t += step) {
        const p = from.map((v, c) => v - t * toward[c]);
        if (p[2] < this.look.ground || p[0] < g.box[0] || p[0] > g.box[1] || p[1] < g.box[2] ||
          p[1] > g.box[3]) continue;
        const i = Math.min(Math.max(Math.round((p[0] - g.x0) / g.dx), 0), g.nx - 1);
        const j = Math.min(Math.max(Math.round((p[1] - g.y0) / g.dy), 0), g.ny - 1);
        const k = j * g.nx + i;
        if (g.z[k] >= p[2]) return { x: p[0], y: p[1], z: p[2], cell: k };
      }
      return null;
    }
  }

  /* Mouse, touch and keys of a canvas move its camera. Wheel and one-finger touch only once the
     canvas has the focus, so that the page can be scrolled past it. */
  function steer(scene, changed) {
    const { canvas } = scene;
    const fingers = new Map();
    const at = (e) => {
      const r = canvas.getBoundingClientRect();
      return [e.clientX - r.left, e.clientY - r.top];
    };
    const middle = (p) => [2 * (p[0] - canvas.clientWidth / 2) / canvas.clientHeight,
      2 * (canvas.clientHeight / 2 - p[1]) / canvas.clientHeight];

    function drag(e) {
      const before = fingers.get(e.pointerId);
      const now = at(e);
      const camera = scene.camera;
      const [dx, dy] = [now[0] - before[0], now[1] - before[1]];
      if (fingers.size === 2) {
        const other = [...fingers].find(([id]) => id !== e.pointerId)[1];
        const gap = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]) || 1;
        camera.zoom(gap(now) / gap(before), ...middle(other), scene.aspect);
        camera.pan(dx / canvas.clientHeight, -dy / canvas.clientHeight, scene.aspect);
      } else if (e.shiftKey || e.buttons & 2 || e.buttons & 4) {
        camera.pan(2 * dx / canvas.clientHeight, -2 * dy / canvas.clientHeight, scene.aspect);
      } else {
        camera.rotate(-dx * 0.008, dy * 0.008);
      }
      fingers.set(e.pointerId, now);
      changed();
    }

    canvas.addEventListener('pointerdown', (e) => {
      fingers.set(e.pointerId, at(e));
      canvas.setPointerCapture(e.pointerId);
    });
    canvas.addEventListener('pointermove', (e) => { if (fingers.has(e.pointerId)) drag(e); });
    for (const name of ['pointerup', 'pointercancel']) {
      canvas.addEventListener(name, (e) => fingers.delete(e.pointerId));
    }
    canvas.addEventListener('contextmenu', (e) => e.preventDefault());
    canvas.addEventListener('wheel', (e) => {
      if (document.activeElement !== canvas) return;
      e.preventDefault();
      scene.camera.zoom(Math.exp(-e.deltaY * 0.0012), ...middle(at(e)), scene.aspect);
      changed();
    }, { passive: false });
    canvas.addEventListener('keydown', (e) => {
      if (press(scene.camera, e, scene.aspect)) {
        e.preventDefault();
        changed();
      }
    });
  }

  function press(camera, e, aspect) {
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    const go = arrows[e.key];
    if (e.ctrlKey || e.altKey || e.metaKey) return false;
    if (go && e.shiftKey) camera.pan(go[0] * 0.1, go[1] * 0.1, aspect);
    else if (go) camera.rotate(go[0] * 0.1, go[1] * 0.1);
    else if (e.key === '+' || e.key === '=') camera.zoom(1.2, 0, 0, aspect);
    else if (e.key === '-') camera.zoom(1 / 1.2, 0, 0, aspect);
    else if (e.key === 'Home') camera.turn('corner');
    else return false;
    return true;
  }

  Object.assign(bc, { scene: { Scene, Camera, steer } });
})(window.blankcam = window.blankcam || {});
