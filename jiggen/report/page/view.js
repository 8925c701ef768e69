"use strict";
// The jig in WebGL 2, drawn from the page's own data.  x to the tip, y to the left edge, z up; mm.
(() => {
  const LENS = 1 / Math.tan((12 * Math.PI) / 180); // half the angle of view, upright
  const START = { around: -0.68, above: 0.65 }; // radians: seen from the tail, the right and above
  const KEYS = {
    ArrowLeft: [0.1, 0], ArrowRight: [-0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1],
  };

  const VERTEX = `#version 300 es
    uniform mat4 pose;
    uniform mat3 turn;
    uniform vec3 low, size, centre;
    uniform vec2 lens, depth;
    uniform float away;
    in vec3 point, normal;
    out vec3 facing;
    void main() {
      vec3 seen = turn * ((pose * vec4(low + size * point, 1.0)).xyz - centre);
      seen.z -= away;
      facing = turn * (mat3(pose) * normal);
      gl_Position = vec4(lens * seen.xy, depth.x * seen.z + depth.y, -seen.z);
    }`;
  const FRAGMENT = `#version 300 es
    precision highp float;
    uniform vec3 colour;
    in vec3 facing;
    out vec4 shown;
    void main() {
      vec3 n = normalize(facing);
      float key = max(dot(n, normalize(vec3(-0.4, 0.7, 0.7))), 0.0);
      float fill = max(dot(n, normalize(vec3(0.7, -0.1, 0.6))), 0.0);
      shown = vec4(colour * (0.36 + 0.58 * key + 0.24 * fill), 1.0);
    }`;

  const frame = document.getElementById("view");
  const canvas = frame.querySelector("canvas");
  const scene = JSON.parse(document.getElementById("scene").textContent);
  const gl = canvas.getContext("webgl2", { antialias: true });
  if (!gl || !scene.parts.length) return; // the picture stays

  // ---- what is drawn

  const hidden = new Set();
  let place, parts; // where the program's values go; the parts as the graphics card holds them

  const bytes = (text) => Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));

  function compiled() {
    const program = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.bindAttribLocation(program, 0, "point");
    gl.bindAttribLocation(program, 1, "normal");
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw gl.getProgramInfoLog(program);
    return program;
  }

  function held(part) {
    const shape = gl.createVertexArray();
    gl.bindVertexArray(shape);
    const fill = (target, text) => {
      gl.bindBuffer(target, gl.createBuffer());
      gl.bufferData(target, bytes(text), gl.STATIC_DRAW);
    };
    fill(gl.ARRAY_BUFFER, part.points);
    gl.vertexAttribPointer(0, 3, gl.UNSIGNED_SHORT, true, 0, 0);
    fill(gl.ARRAY_BUFFER, part.normals);
    gl.vertexAttribPointer(1, 3, gl.BYTE, true, 0, 0);
    gl.enableVertexAttribArray(0);
    gl.enableVertexAttribArray(1);
    fill(gl.ELEMENT_ARRAY_BUFFER, part.triangles);
    const width = part.wide ? 4 : 2;
    const count = gl.getBufferParameter(gl.ELEMENT_ARRAY_BUFFER, gl.BUFFER_SIZE) / width;
    return { ...part, shape, width, count, type: part.wide ? gl.UNSIGNED_INT : gl.UNSIGNED_SHORT };
  }

  function start() {
    const program = compiled();
    gl.useProgram(program);
    const names = ["pose", "turn", "low", "size", "centre", "lens", "depth", "away", "colour"];
    place = Object.fromEntries(names.map((name) => [name, gl.getUniformLocation(program, name)]));
    parts = scene.parts.map(held);
    gl.enable(gl.DEPTH_TEST);
    gl.enable(gl.CULL_FACE);
    // A wall seen edge-on has no depth to rely on: without this it shows through what covers it.
    gl.enable(gl.POLYGON_OFFSET_FILL);
    gl.polygonOffset(1, 0);
    frame.classList.add("live");
    redraw();
  }

  // ---- from where it is seen

  const corners = ({ boxes }) =>
    boxes.flatMap((ends) =>
      [0, 1, 2, 3, 4, 5, 6, 7].map((which) =>
        [0, 1, 2].map((axis) => ends[(which >> axis) & 1][axis])));
  // The ski runs out of the picture, as skis do: the view is fitted to the jig.
  const jig = scene.parts.filter((part) => part.group !== "ski").flatMap(corners);
  const middle = [0, 1, 2].map((axis) => {
    const along = jig.map((corner) => corner[axis]);
    return (Math.min(...along) + Math.max(...along)) / 2;
  });
  const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
  const reach = Math.max(...scene.parts.flatMap(corners).map((corner) => apart(corner, middle)));

  let eye;
  const reset = (around = START.around, above = START.above) => {
    eye = { around, above, closer: 1, centre: [...middle] };
  };

  // Rows: what is right, up and towards the viewer on the screen, in the ski's frame.
  function axes({ around, above }) {
    const [ca, sa, ce, se] = [Math.cos(around), Math.sin(around), Math.cos(above), Math.sin(above)];
    return [ca, sa, 0, -se * sa, se * ca, ce, ce * sa, -ce * ca, se];
  }

  function seen() {
    const turn = axes(eye);
    const lens = [(LENS * canvas.height) / canvas.width, LENS];
    const along = (row, p) =>
      [0, 1, 2].reduce((sum, axis) => sum + turn[row + axis] * (p[axis] - middle[axis]), 0);
    const needed = jig.map((p) =>
      along(6, p) + Math.max(Math.abs(along(0, p)) * lens[0], Math.abs(along(3, p)) * lens[1]));
    const away = (1.04 * Math.max(...needed)) / eye.closer;
    return { turn, lens, away };
  }

  // ---- drawing

  let waiting = false;
  function redraw() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; draw(); });
  }

  function draw() {
    const { turn, lens, away } = seen();
    const shift = apart(eye.centre, middle);
    const far = away + reach + shift, near = Math.max(away - reach - shift, far / 500);
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix3fv(place.turn, true, turn);
    gl.uniform3fv(place.centre, eye.centre);
    gl.uniform2fv(place.lens, lens);
    gl.uniform2f(place.depth, (far + near) / (near - far), (2 * far * near) / (near - far));
    gl.uniform1f(place.away, away);
    for (const part of parts.filter(({ group }) => !hidden.has(group))) {
      gl.bindVertexArray(part.shape);
      gl.uniform3fv(place.low, part.low);
      gl.uniform3fv(place.size, part.size);
      for (const pose of part.poses) {
        gl.uniformMatrix4fv(place.pose, true, pose);
        gl.uniform3fv(place.colour, part.colour);
        gl.drawElements(gl.TRIANGLES, part.plain, part.type, 0);
        gl.uniform3fv(place.colour, scene.ink);
        gl.drawElements(gl.TRIANGLES, part.count - part.plain, part.type, part.plain * part.width);
      }
    }
  }

  // ---- mouse, finger, keys

  function turnBy(around, above) {
    eye.around += around;
    eye.above = Math.min(Math.max(eye.above + above, -Math.PI / 2), Math.PI / 2);
    redraw();
  }

  function closerBy(factor) {
    eye.closer = Math.min(Math.max(eye.closer * factor, 0.5), 12);
    redraw();
  }

  function slideBy(right, down) {
    const { turn, away } = seen();
    const scale = (2 * away) / (LENS * canvas.clientHeight); // mm a pixel, at the centre
    eye.centre = eye.centre.map(
      (value, axis) => value - scale * (right * turn[axis] - down * turn[3 + axis]));
    redraw();
  }

  const fingers = new Map(); // pointers that are down
  const spread = ([a, b]) => Math.hypot(a.x - b.x, a.y - b.y);

  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, (event) => fingers.delete(event.pointerId));
  }
  canvas.addEventListener("pointermove", (event) => {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    const before = fingers.size === 2 ? spread([...fingers.values()]) : 0;
    const right = event.clientX - finger.x, down = event.clientY - finger.y;
    finger.x = event.clientX;
    finger.y = event.clientY;
    if (fingers.size === 2) {
      slideBy(right / 2, down / 2);
      if (before) closerBy(spread([...fingers.values()]) / before);
    } else if (event.shiftKey || event.buttons === 2) {
      slideBy(right, down);
    } else {
      turnBy(-right * 0.008, down * 0.008);
    }
  });
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas) return; // else the wheel scrolls the page
    event.preventDefault();
    closerBy(Math.exp(-Math.sign(event.deltaY) * Math.min(Math.abs(event.deltaY), 120) / 600));
  }, { passive: false });
  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    if (KEYS[event.key]) turnBy(...KEYS[event.key]);
    else if (event.key === "+" || event.key === "-") closerBy(event.key === "+" ? 1.15 : 1 / 1.15);
    else if (event.key === "Home") { reset(); redraw(); }
    else return;
    event.preventDefault();
  });
  const boxes = [...frame.querySelectorAll("input")];
  const tick = () => {
    for (const box of boxes) hidden[box.checked ? "delete" : "add"](box.value);
    redraw();
  };
  for (const box of boxes) box.addEventListener("change", tick);

  const from = { start: [], above: [0, Math.PI / 2], below: [0, -Math.PI / 2], side: [0, 0] };
  for (const button of frame.querySelectorAll("button")) {
    button.addEventListener("click", () => {
      reset(...from[button.value]);
      boxes.find((box) => box.value === "ski").checked = button.value !== "below"; // it hides all
      tick();
    });
  }

  canvas.addEventListener("webglcontextlost", (event) => {
    event.preventDefault();
    frame.classList.remove("live");
  });
  canvas.addEventListener("webglcontextrestored", start);
  new ResizeObserver(() => {
    const scale = Math.min(window.devicePixelRatio, 2);
    canvas.width = Math.max(1, Math.round(canvas.clientWidth * scale));
    canvas.height = Math.max(1, Math.round(canvas.clientHeight * scale));
    redraw();
  }).observe(canvas);

  reset();
  start();
})();
