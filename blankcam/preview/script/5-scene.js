'use strict';

/* Drawing with WebGL2: a surface of heights, solids, lines; parallel projection. */
(function (bc) {
  const MOST = 24;  // strings that throw a shadow
  const SUN = 'const vec3 SUN = vec3(-0.34, -0.30, 0.89);';
  const STRIPS = 48;  // along x, each with the strings whose shadow may fall there
  const FINE = 2.2;  // pixels between two columns of the surface that are finer than need be
  const DROP = 14;  // mm that a shadow falls at most
  /* How far strings keep the lamp from a place: each a line bent once, drawn as a soft band. */
  const SHADOW = `
    uniform ivec2 near[${STRIPS}];
    uniform vec2 strips;
    uniform vec4 cordA[${MOST}], cordB[${MOST}];
    ${SUN}
    float along(int i, float y) {
      float d = y - cordB[i].x;
      return cordA[i].w + d * (d < 0.0 ? cordB[i].y : cordB[i].z);
    }
    float shade(vec3 p) {
      float dark = 0.0;
      ivec2 some = near[clamp(int((p.x - strips.x) * strips.y), 0, ${STRIPS - 1})];
      for (int i = some.x; i < some.y; i++) {
        float t = (along(i, p.y) - p.z) / SUN.z;
        if (t < 0.02) continue;
        vec3 q = p + t * SUN;
        if (q.y < cordB[i].w) continue;
        float d = abs(q.x - cordA[i].x - cordA[i].y * (q.y - cordB[i].x)) / cordA[i].z;
        float soft = 0.25 + 0.12 * t / cordA[i].z;
        dark = max(dark, (1.0 - smoothstep(1.0 - soft, 1.0 + soft, d)) * exp(-0.06 * t));
      }
      return dark;
    }`;
  const SURFACE = `#version 300 es
    precision highp float;
    precision highp int;
    uniform highp sampler2D heights, deviations;
    uniform ivec4 part;
    uniform int every;
    uniform vec4 grid, box;
    uniform float ground;
    uniform mat4 view;
    out vec3 place;
    out float off, there, hollow, dark;
    ${SHADOW}
    void main() {
      int w = (part.z + every - 1) / every + 4, h = part.w + 4;
      ivec2 at = ivec2(gl_VertexID % w, gl_VertexID / w);
      ivec2 cell = part.xy + clamp((at - 2) * ivec2(every, 1), ivec2(0), part.zw - 1);
      vec2 p = grid.xy + vec2(cell) * grid.zw;
      if (at.x < 2) p.x = box.x; else if (at.x > w - 3) p.x = box.y;
      if (at.y < 2) p.y = box.z; else if (at.y > h - 3) p.y = box.w;
      float z = texelFetch(heights, cell, 0).r;
      bool rim = at.x == 0 || at.y == 0 || at.x == w - 1 || at.y == h - 1;
      there = z < ground ? 0.0 : 1.0;
      off = rim ? 1e9 : texelFetch(deviations, cell, 0).r;
      hollow = rim ? 0.0 : texelFetch(heights, cell, 0).g;
      if (rim || z < ground) z = ground;
      place = vec3(p, z);
      dark = shade(place);
      gl_Position = view * vec4(place, 1.0);
    }`;
  const SKIN = `#version 300 es
    precision highp float;
    precision highp int;
    uniform sampler2D ramp;
    uniform highp sampler2D goal;
    uniform vec4 goalGrid;
    uniform int tinted, coloured;
    uniform vec3 base, toward, right, up;
    uniform vec2 limits;
    uniform float span, pitch, cutAt;
    in vec3 place;
    in float off, there, hollow, dark;
    ${SUN}
    out vec4 colour;
    float over() {
      ivec2 size = textureSize(goal, 0);
      ivec2 cell = ivec2(floor((place.xy - goalGrid.xy) / goalGrid.zw + 0.5));
      cell = clamp(cell, ivec2(-1), size);
      if (cell.x < 0 || cell.y < 0 || cell.x >= size.x || cell.y >= size.y) {
        vec2 a = place.xy - goalGrid.xy, b = vec2(size - 1) * goalGrid.zw;
        if (a.x < -0.3 || a.y < -0.3 || a.x > b.x + 0.3 || a.y > b.y + 0.3) return 1.0;
        cell = clamp(cell, ivec2(0), size - 1);
      }
      return place.z - texelFetch(goal, cell, 0).r;
    }
    void main() {
      if (there < 0.02) discard;
      vec3 n = normalize(cross(dFdx(place), dFdy(place)));
      if (dot(n, toward) < 0.0) n = -n;
      float sky = 0.62 + 0.07 * n.z - 0.04 * n.x;
      float key = max(dot(n, SUN), 0.0);
      vec3 c = base;
      float grain = sin(place.x * 1.3 + 2.0 * sin(place.z * 0.9 + place.y * 0.4)) * sin(place.z * 2.1 + place.x * 0.37);
      c *= 1.0 + 0.018 * grain;
      float light = sky + 0.27 * key * (1.0 - 0.85 * dark) + 0.07 * max(dot(n, toward), 0.0);
      c *= mix(vec3(0.99, 0.965, 0.93), vec3(1.0), key);
      light *= 1.0 - 0.34 * hollow * smoothstep(0.05, 0.4, n.z);
      if (coloured == 1 && abs(off) < 1e6) {
        c = texture(ramp, vec2(0.5 + 0.5 * clamp(off / span, -1.0, 1.0), 0.5)).rgb;
        light = 0.72 + 0.28 * light;
        if ((off < -limits.x || off > limits.y) && mod(gl_FragCoord.x + gl_FragCoord.y, 10.0) < 2.0) c *= 0.25;
      } else if (tinted == 1 && over() > 0.04) {
        vec2 dots = abs(n.z) > 0.6 ? place.xy : (abs(n.y) > abs(n.x) ? place.xz : place.yz);
        vec2 f = fract(dots / pitch + vec2(0.0, 0.5 * mod(floor(dots.x / pitch), 2.0))) - 0.5;
        c = mix(vec3(0.98, 0.84, 0.79), vec3(0.86, 0.50, 0.42), step(length(f), 0.15));
      }
      if (abs(place.x - cutAt) < 0.012 && abs(n.x) > 0.7 && mod(place.y + place.z, pitch) < 0.14 * pitch) c *= 0.72;
      colour = vec4(c * light, 1.0);
    }`;
  const SOLID = `#version 300 es
    precision highp float;
    layout(location = 0) in vec3 point;
    layout(location = 1) in vec3 normal;
    uniform mat4 view;
    uniform vec3 shift;
    out vec3 n, place;
    void main() { n = normal; place = point + shift; gl_Position = view * vec4(place, 1.0); }`;
  /* kinds: 0 plain, 1 wound, 2 nylon, 3 wood, 4 to come */
  const PAINT = `#version 300 es
    precision highp float;
    precision highp int;
    uniform vec4 base;
    uniform int kind;
    uniform float pitch, zoom;
    uniform vec3 toward, right, up;
    in vec3 n, place;
    out vec4 colour;
    ${SHADOW}
    void main() {
      vec3 m = normalize(n);
      if (dot(m, toward) < 0.0) m = -m;
      if (kind == 4) {
        // pitch: the string's radius; a line along both its sides as one sees it
        float x = clamp(1.0 - 1.8 / (pitch * zoom), 0.0, 0.94);
        float most = sqrt(max(1.0 - toward.y * toward.y, 0.01));
        if (dot(m, toward) > most * sqrt(1.0 - x * x) || mod(place.y * zoom, 15.0) > 9.0) discard;
        colour = vec4(base.rgb, 1.0);
        return;
      }
      vec3 lamp = normalize(toward * 0.8 + up * 0.75 - right * 0.6);
      vec3 c = base.rgb;
      float shine = pow(max(dot(reflect(-lamp, m), toward), 0.0), kind == 2 ? 40.0 : 18.0);
      float gloss = kind == 0 ? 0.42 : kind == 1 ? 0.22 : kind == 2 ? 0.30 : 0.03;
      float light = 0.45 + 0.58 * max(dot(m, lamp), 0.0);
      if (kind == 1) c *= 0.80 + 0.20 * sin(place.y * 6.2832 / pitch);
      if (kind == 2) { light = 0.62 + 0.38 * light; c = mix(c, vec3(0.99), 0.35 * pow(1.0 - dot(m, toward), 2.0)); }
      if (kind == 3) {
        c *= 0.94 + 0.06 * sin(place.x * 5.0 + 1.7 * sin(place.y * 0.3 + place.x));
        light = (0.64 + 0.14 * m.z + 0.30 * max(dot(m, SUN), 0.0)) * (1.0 - 0.42 * shade(place));
      }
      colour = vec4(c * light + gloss * shine, base.a);
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

  /* For strips of equal width along x the first string whose shadow may fall there and the one after
     the last; strings are given in their order across. */
  function strips(cords) {
    const reach = cords.map(([x, across, radius]) => {
      const soft = 1.25 * radius + 0.12 * DROP + 60 * Math.abs(across);  // 60 mm of string to each side
      return [x - soft, x + soft + 0.39 * DROP];
    });
    const from = Math.min(...reach.map((r) => r[0]), 0);
    const wide = (Math.max(...reach.map((r) => r[1]), 1) - from) / STRIPS;
    const near = Array.from({ length: STRIPS }, (_, k) => {
      const [low, high] = [from + k * wide, from + (k + 1) * wide];
      const falls = reach.map((r) => r[0] < high && r[1] > low);
      return falls.includes(true) ? [falls.indexOf(true), falls.lastIndexOf(true) + 1] : [0, 0];
    });
    return { from, wide, near: near.flat() };
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
      const views = { front: [0, 0], top: [0, 90], end: [90, 0], corner: [-22, 28] };
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

    get pose() {
      return [...this.target, this.size, this.yaw, this.pitch];
    }

    set pose(p) {
      this.target = p.slice(0, 3);
      [this.size, this.yaw, this.pitch] = p.slice(3);
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
      this.meshes = new Map();
      this.shapes = [];
      this.ramp = this.texture();
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, 256, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, bc.colour.ramp(256));
      this.solids = [];
      this.wires = [];
      this.surface = null;
      this.look = { coloured: false, span: 20, limits: [5, 20], ground: 0, within: null };
      this.cords = [];
      this.kept = new Map();
      this.sizes = new Map();  // of the textures that were uploaded
      this.goal = null;
      this.after = () => {};
      this.frames = 0;
      this.spent = 0;
      this.pending = false;
      this.moving = false;
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
      const count = grid.nx * grid.ny;
      if (!this.clean || this.clean.length !== count) this.clean = new Float32Array(count);
      const clean = this.clean;
      for (let i = 0; i < count; i++) {
        const v = values ? values[i] : nothing;
        clean[i] = v === v ? v : nothing;  // not a number is nothing
      }
      gl.bindTexture(gl.TEXTURE_2D, t);
      if (this.sizes.get(t) === grid.nx + ' ' + grid.ny) {
        gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, grid.nx, grid.ny, gl.RED, gl.FLOAT, clean);
        return;
      }
      this.sizes.set(t, grid.nx + ' ' + grid.ny);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.R32F, grid.nx, grid.ny, 0, gl.RED, gl.FLOAT, clean);
    }

    /* Heights that stay as they are, with how deep each place lies between its neighbours along x. */
    uploadStill(t, grid) {
      const { gl } = this;
      const out = new Float32Array(2 * grid.z.length);
      for (let j = 0; j < grid.ny; j++) {
        for (let i = 0; i < grid.nx; i++) {
          const k = j * grid.nx + i;
          const z = Number.isNaN(grid.z[k]) ? -1e6 : grid.z[k];
          let deep = 0;
          for (const step of [6, 12, 18]) {
            const a = grid.z[j * grid.nx + Math.max(i - step, 0)];
            const b = grid.z[j * grid.nx + Math.min(i + step, grid.nx - 1)];
            deep = Math.max(deep, Math.min(a, b) - z);  // no number is no wall
          }
          out[2 * k] = z;
          out[2 * k + 1] = Math.min(Math.max(deep * 0.9 || 0, 0), 1);
        }
      }
      gl.bindTexture(gl.TEXTURE_2D, t);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RG32F, grid.nx, grid.ny, 0, gl.RG, gl.FLOAT, out);
    }

    /* Show a grid of heights, and deviations over the same cells or null; one that never changes is
       uploaded once. */
    setSurface(grid, deviations, still = false) {
      if (still && this.kept.has(grid)) {
        this.surface = this.kept.get(grid);
        return;
      }
      if (still) this.kept.set(grid, this.surface = { heights: this.texture(), deviations: this.texture() });
      if (!this.surface) this.surface = { heights: this.texture(), deviations: this.texture() };
      this.surface.grid = grid;
      if (still) this.uploadStill(this.surface.heights, grid);
      else this.upload(this.surface.heights, grid, grid.z, -1e6);
      if (this.surface.of !== deviations || deviations || !this.surface.sized) {
        this.upload(this.surface.deviations, grid, deviations, 1e9);
        this.surface.of = deviations;
        this.surface.sized = true;
      }
    }

    /* The heights that the work is to come to: what stands over them is tinted; null for none. */
    setGoal(grid) {
      this.goal = grid && { grid, heights: this.goalTexture || (this.goalTexture = this.texture()) };
      if (grid && this.goalOf !== grid) this.upload(this.goal.heights, grid, grid.z, -1e6);
      this.goalOf = grid || this.goalOf;
    }

    /* A vertex array with values of its own. */
    shape(target, values) {
      const { gl } = this;
      const [vao, buffer] = [gl.createVertexArray(), gl.createBuffer()];
      this.shapes.push({ vao, buffer });
      gl.bindVertexArray(vao);
      gl.bindBuffer(target, buffer);
      gl.bufferData(target, values, gl.STATIC_DRAW);
      return vao;
    }

    /* Frees what was made of a page or program before. */
    forget() {
      const { gl } = this;
      for (const { vao, buffer } of this.shapes) {
        gl.deleteVertexArray(vao);
        gl.deleteBuffer(buffer);
      }
      for (const s of this.kept.values()) {
        gl.deleteTexture(s.heights);
        gl.deleteTexture(s.deviations);
        this.sizes.delete(s.deviations);
        if (s === this.surface) this.surface = null;
      }
      this.shapes = [];
      [this.solids, this.wires] = [[], []];
      this.meshes.clear();
      this.kept.clear();
    }

    /* Kinds as in the painting shader: 0 plain, 1 wound, 2 nylon, 3 wood, 4 to come. */
    solid(vertices, colour, kind = 0, pitch = 1) {
      const { gl } = this;
      const vao = this.shape(gl.ARRAY_BUFFER, vertices);
      gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 24, 0);
      gl.vertexAttribPointer(1, 3, gl.FLOAT, false, 24, 12);
      gl.enableVertexAttribArray(0);
      gl.enableVertexAttribArray(1);
      return { vao, count: vertices.length / 6, colour, kind, pitch, shift: [0, 0, 0] };
    }

    wire(vertices, colour) {
      const { gl } = this;
      const vao = this.shape(gl.ARRAY_BUFFER, vertices);
      gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 12, 0);
      gl.enableVertexAttribArray(0);
      return { vao, count: vertices.length / 3, colour };
    }

    /* Move the camera to a pose; at once where motion is not wanted. */
    go(pose) {
      const from = this.camera.pose;
      if (!from[3]) from[3] = this.camera.half(this.aspect);
      const began = performance.now();
      const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
      const turn = (this.turns = (this.turns || 0) + 1);
      const step = (now) => {
        if (turn !== this.turns) return;
        this.moving = true;
        const t = still ? 1 : Math.min(Math.max((now - began) / 420, 0), 1);
        const e = t * t * (3 - 2 * t);
        this.camera.pose = pose.map((v, i) => from[i] + (v - from[i]) * e);
        this.render();
        this.moving = t < 1;
        if (t < 1) requestAnimationFrame(step);
      };
      step(still ? began : performance.now());
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

    /* Whether all that was asked for has been drawn. */
    get rests() {
      return !this.pending && !this.moving;
    }

    get aspect() {
      return this.canvas.clientWidth / Math.max(this.canvas.clientHeight, 1);
    }

    render() {
      const { gl, canvas, camera } = this;
      if (!camera || !canvas.clientWidth) return;
      const began = performance.now();
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
      this.after();
      this.frames += 1;
      this.spent = performance.now() - began;
    }

    /* From places to where they are seen, CSS pixels from the canvas' upper left corner. */
    looking() {
      const { right, up } = this.camera.axes();
      const [wide, tall] = [this.canvas.clientWidth, this.canvas.clientHeight];
      const k = tall / 2 / this.camera.half(wide / Math.max(tall, 1));
      const at = this.camera.target;
      const on = (axis, p) => axis[0] * (p[0] - at[0]) + axis[1] * (p[1] - at[1]) + axis[2] * (p[2] - at[2]);
      return { wide, tall, seen: (p) => [wide / 2 + k * on(right, p), tall / 2 - k * on(up, p)] };
    }

    seen(p) {
      return this.looking().seen(p);
    }

    lights(u, view, eye) {
      const { gl } = this;
      gl.uniformMatrix4fv(u.view, false, view);
      for (const name of ['toward', 'right', 'up']) gl.uniform3fv(u[name], eye[name]);
      const cords = this.cords.slice(0, MOST);
      const { from, wide, near } = strips(cords);
      gl.uniform2iv(u['near[0]'], near);
      gl.uniform2f(u.strips, from, 1 / wide);
      if (cords.length) {
        gl.uniform4fv(u['cordA[0]'], cords.flatMap((c) => c.slice(0, 4)));
        gl.uniform4fv(u['cordB[0]'], cords.flatMap((c) => c.slice(4)));
      }
    }

    /* Triangles over a net of so many places, each place worked out once. */
    mesh(w, h) {
      const key = w + ' ' + h;
      if (this.meshes.has(key)) return this.meshes.get(key);
      const { gl } = this;
      const index = new Uint32Array(6 * (w - 1) * (h - 1));
      let k = 0;
      for (let j = 0; j + 1 < h; j++) {
        for (let i = 0; i + 1 < w; i++) {
          const a = j * w + i;
          for (const v of [a, a + 1, a + w, a + w, a + 1, a + w + 1]) index[k++] = v;
        }
      }
      const vao = this.shape(gl.ELEMENT_ARRAY_BUFFER, index);
      gl.bindVertexArray(null);
      this.meshes.set(key, { vao, count: index.length });
      return this.meshes.get(key);
    }

    /* Columns of the surface between two places, and the box they then fill. */
    shown() {
      const g = this.surface.grid;
      const w = this.look.within;
      if (!w) return { part: [0, 0, g.nx, g.ny], box: g.box };
      const low = Math.max(w[0], g.box[0]);
      const high = Math.min(w[1], g.box[1]);
      const first = Math.min(Math.max(Math.ceil((low - g.x0) / g.dx - 1e-6), 0), g.nx - 2);
      const last = Math.max(Math.min(Math.floor((high - g.x0) / g.dx + 1e-6), g.nx - 1), first + 1);
      return { part: [first, 0, last - first + 1, g.ny], box: [low, high, g.box[2], g.box[3]] };
    }

    /* Of so many columns one is drawn: no more than can be told apart. */
    columns(grid) {
      const pixel = 2 * this.camera.half(this.aspect) / this.canvas.height;
      return Math.max(Math.floor(FINE * pixel / grid.dx), 1);
    }

    renderSurface(view, eye) {
      const { gl, surface, look } = this;
      if (!surface) return;
      const { p, u } = this.programs.surface;
      const g = surface.grid;
      gl.useProgram(p);
      this.lights(u, view, eye);
      const goal = this.goal;
      const { part, box } = this.shown();
      [surface.heights, surface.deviations, this.ramp, goal ? goal.heights : surface.heights].forEach((t, i) => {
        gl.activeTexture(gl.TEXTURE0 + i);
        gl.bindTexture(gl.TEXTURE_2D, t);
      });
      gl.activeTexture(gl.TEXTURE0);
      gl.uniform1i(u.heights, 0);
      gl.uniform1i(u.deviations, 1);
      gl.uniform1i(u.ramp, 2);
      gl.uniform1i(u.goal, 3);
      gl.uniform1i(u.tinted, goal ? 1 : 0);
      if (goal) gl.uniform4f(u.goalGrid, goal.grid.x0, goal.grid.y0, goal.grid.dx, goal.grid.dy);
      gl.uniform4iv(u.part, part);
      const every = this.columns(g);
      gl.uniform1i(u.every, every);
      gl.uniform4f(u.grid, g.x0, g.y0, g.dx, g.dy);
      gl.uniform4fv(u.box, box);
      gl.uniform1f(u.ground, look.ground);
      gl.uniform3f(u.base, 0.965, 0.915, 0.80);
      gl.uniform1i(u.coloured, look.coloured ? 1 : 0);
      gl.uniform1f(u.span, look.span);
      gl.uniform1f(u.pitch, Math.min(Math.max(this.camera.half(this.aspect) * 0.06, 0.16), 0.8));
      gl.uniform1f(u.cutAt, look.cutAt === undefined ? -1e6 : look.cutAt);
      gl.uniform2fv(u.limits, look.limits);
      const mesh = this.mesh(Math.ceil(part[2] / every) + 4, part[3] + 4);
      gl.bindVertexArray(mesh.vao);
      gl.drawElements(gl.TRIANGLES, mesh.count, gl.UNSIGNED_INT, 0);
    }

    renderSolids(view, eye) {
      const { gl } = this;
      const { p, u } = this.programs.solid;
      gl.useProgram(p);
      this.lights(u, view, eye);
      gl.uniform1f(u.zoom, this.canvas.height / 2 / this.camera.half(this.aspect));
      gl.polygonOffset(1, 2);  // where a jaw lies on the blank, the blank is seen
      for (const s of this.solids) {
        const through = s.colour[3] < 0.5 || s.kind === 4;
        gl.depthMask(!through);  // what one looks through hides nothing
        (through ? gl.enable : gl.disable).call(gl, gl.POLYGON_OFFSET_FILL);
        (s.kind === 4 ? gl.disable : gl.enable).call(gl, gl.DEPTH_TEST);
        gl.bindVertexArray(s.vao);
        gl.uniform4fv(u.base, s.colour);
        gl.uniform1i(u.kind, s.kind);
        gl.uniform1f(u.pitch, s.pitch);
        gl.uniform3fv(u.shift, s.shift);
        gl.drawArrays(gl.TRIANGLES, 0, s.count);
      }
      gl.enable(gl.DEPTH_TEST);
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
