// The stage: the prop in a dark room, seen from anywhere; boards are taken by the hand. What is
// done is told as an intention; what is seen comes back as bytes per corner.
import { BoardOutlines, FindingMarks, GlowMesh, HintCloud, Orbit, Picture, PulsePlayer, THREE } from "glowsim-live";

const KEYS = { ArrowLeft: [-1, 0, 0], ArrowRight: [1, 0, 0], ArrowUp: [0, 0, 1],
  ArrowDown: [0, 0, -1], PageUp: [0, 1, 0], PageDown: [0, -1, 0] };
const PATIENCE_MS = 1000; // after which a place that was told counts as lost

export default {
  template: `
    <div class="stage">
      <canvas ref="canvas" tabindex="0" role="application" aria-label="The prop. B takes the next board,
        arrow keys move it by one millimetre, with Shift by a tenth; Escape lets it go. Without a
        board arrow keys turn the view, plus and minus bring it nearer."
        @pointerdown="down" @pointermove="move" @pointerup="up" @pointercancel="up"
        @wheel.prevent="wheel" @keydown="key"></canvas>
      <svg class="marks" v-show="figures" aria-hidden="true">
        <g v-for="m in placed" :class="{ seen: m.seen }">
          <line :x1="m.x" :y1="m.y" :x2="m.tx" :y2="m.ty"/>
          <polygon :points="m.symbol" :transform="'translate(' + m.x + ' ' + m.y + ')'"><title>{{ m.label }}</title></polygon>
          <text :x="m.tx" :y="m.ty">{{ m.number }}</text>
        </g>
      </svg>
      <div class="legend" v-show="figures && scale" aria-label="Colours of brightness">
        <span>{{ scale?.unit }}</span>
        <div class="bar" :style="{ background: gradient }">
          <i v-for="t in scale?.ticks ?? []" :style="{ bottom: 100 * t[0] + '%' }">{{ t[1] }}</i>
        </div>
        <ol class="key"><li v-for="m in placed" :value="m.number">{{ m.label }}</li></ol>
      </div>
      <div class="strips" v-if="pulse">
        <svg :viewBox="'0 0 100 ' + 10 * pulse.strips.length" preserveAspectRatio="none" aria-hidden="true">
          <polyline v-for="s in pulse.strips" :points="s.line" :stroke="s.colour"><title>{{ s.name }}</title></polyline>
          <line :x1="100 * moment / pulse.seconds" y1="0" :x2="100 * moment / pulse.seconds" y2="10000"/>
        </svg>
        <input type="range" min="0" :max="pulse.seconds" step="0.02" :value="moment" aria-label="moment in seconds"
          @input="scrub(parseFloat($event.target.value))" @keydown.stop>
        <button class="quiet" @click="run(!playing)">{{ playing ? "hold" : "play" }}</button>
        <span>{{ moment.toFixed(1) }} of {{ pulse.seconds.toFixed(1) }} s</span>
      </div>
      <p class="hinted" v-show="told">{{ told }}</p>
      <div class="carried" v-show="held" :style="{ left: at[0] + 'px', top: at[1] + 'px' }">
        <strong>{{ held?.name }}</strong>
        <label v-for="h in held?.hands ?? []">{{ h.words }}
          <input type="number" step="0.1" :data-hand="h.hand" :aria-label="h.words + ' in mm'"
            @input="typing = h.hand" @change="typed(h.hand, $event)" @blur="showHands"
            @focus="$event.target.select()"
            @keydown.stop> mm</label>
        <label>faces <select :value="held?.faces" @change="$emit('face', $event.target.value)"
          @keydown.stop aria-label="faces">
          <option v-for="f in held?.ways ?? []" :value="f">{{ f }}</option></select></label>
        <div class="acts">
          <button v-for="a in held?.acts ?? []" @click="$emit('act', a)">{{ a }}</button>
        </div>
      </div>
    </div>`,
  props: { law: Object, view: Object },
  data: () => ({ figures: false, scale: null, held: null, at: [0, 0], told: null,
    placed: [], pulse: null, moment: 0, playing: false }),
  computed: {
    gradient() {
      const steps = this.scale?.steps ?? [];
      return `linear-gradient(to top, ${steps.map((s) => "#" + s).join(",")})`;
    },
  },
  mounted() {
    const canvas = this.$refs.canvas;
    this.picture = new Picture(canvas);
    this.scene = new THREE.Scene();
    this.glow = new GlowMesh(this.law);
    this.outlines = new BoardOutlines();
    this.hints = new HintCloud();
    this.marks = new FindingMarks();
    this.player = null;
    this.over = new THREE.Scene(); // seen through what glows: drawn over it
    this.scene.add(this.glow.mesh); this.over.add(this.outlines.group, this.hints.group);
    this.orbit = new Orbit(this.view.azimuth, this.view.elevation, this.view.distance);
    this.pointers = new Map();
    this.shown = 0;
    this.resizer = new ResizeObserver(() => this.redraw());
    this.resizer.observe(this.$el);
    canvas.addEventListener("webglcontextrestored", () => this.redraw());
    window.glowsimStage = this; // tests ask it what is shown
    this.$emit("ready");
    this.light();
  },
  unmounted() {
    this.resizer.disconnect();
    this.run(false);
    this.picture.dispose();
  },
  methods: {
    // glow: whether what glows, or the view of it, has changed, or boards alone.
    redraw(glow = true) {
      this.changed ||= glow || !!this.cut;
      if (this.waiting) return;
      this.waiting = requestAnimationFrame(() => {
        this.waiting = 0;
        const { clientWidth: w, clientHeight: h } = this.$el;
        if (!w || !h) return;
        this.orbit.update(w, h);
        this.glow.setCut(this.cut ? this.orbit : null, this.outlines.current && this.outlines.place(this.outlines.current));
        this.picture.draw(this.scene, this.over, this.orbit.camera, w, h, this.pointers.size > 0 || this.playing, this.changed,
          this.glow.solid && this.glow.mesh);
        this.changed = false;
        this.follow(w, h);
        clearTimeout(this.marking);
        if (this.figures) this.marking = setTimeout(() => this.mark(), this.placed.length ? 0 : 30);
      });
    },
    // Marks stand where the view rests; what is hidden is looked for once it does.
    mark() {
      const { clientWidth: w, clientHeight: h } = this.$el;
      this.placed = this.marks.placed(this.picture.renderer, this.glow.mesh, this.orbit, w, h);
    },
    follow(w, h) {
      const board = this.outlines.current;
      if (!board || !this.held) return;
      const p = this.outlines.place(board).project(this.orbit.camera);
      const x = ((p.x + 1) / 2) * w + this.beside(board) + 16, y = ((1 - p.y) / 2) * h - 70;
      this.at = [Math.min(Math.max(x, 10), w - 300), Math.min(Math.max(y, 60), h - 330)];
    },
    // Half the width of the prop's board on the screen, so that what it carries covers none of it.
    beside(board) {
      const orbit = this.orbit, reach = Math.max(board.length, board.width) / 2;
      const away = this.outlines.place(board).distanceTo(orbit.camera.position);
      const half = Math.tan(THREE.MathUtils.degToRad(orbit.camera.fov) / 2);
      return ((reach / away / half) * this.$el.clientHeight) / 2;
    },
    // The newest light is fetched; asked for again meanwhile, once more.
    async light() {
      this.wanted = true;
      if (this.fetching) return;
      this.fetching = true;
      while (this.wanted) {
        this.wanted = false;
        try {
          await this.fetchLight();
        } catch (problem) {
          console.warn("light is not to be had:", problem);
        }
      }
      this.fetching = false;
    },
    async fetchLight() {
      const answer = await fetch(`/live/light?known=${this.glow.around}&have=${this.shown}`);
      if (answer.status !== 200) return; // no light yet
      const buffer = await answer.arrayBuffer();
      const end = new Uint8Array(buffer).indexOf(10);
      const heading = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 0, end)));
      if (heading.shape !== this.glow.key) {
        const shape = await fetch(`/live/shape/${heading.shape}`);
        if (!shape.ok) return void (this.wanted = true);
        const first = !this.glow.key;
        this.glow.setShape(heading.shape, await shape.arrayBuffer());
        if (first) this.orbit.frame(this.glow.box);
      }
      this.glow.setLight(buffer, end + 1, heading);
      if (this.player?.key === heading.shape) this.player.show(this.glow);
      this.scale = heading.scale;
      this.shown = heading.number;
      this.full = heading.full;
      this.catchUp();
      this.redraw();
    },
    // While a board is carried, its figures and the others' places are shown along with its light:
    // each picture more holds the light up.
    setBoards(boards) {
      if (this.taken?.moved) this.later = { ...this.later, boards };
      else this.showBoards(boards);
    },
    setHeld(held) {
      if (this.taken?.moved) this.later = { ...this.later, held };
      else this.showHeld(held);
    },
    catchUp() {
      const { boards, held } = this.later ?? {};
      this.later = null;
      if (boards) this.showBoards(boards);
      if (held !== undefined) this.showHeld(held);
    },
    showBoards(boards) {
      const moving = this.taken && this.outlines.current;
      const place = moving && this.outlines.place(moving);
      this.outlines.set(boards);
      if (moving && this.outlines.current) this.outlines.moveTo(this.outlines.current, place);
      this.redraw(false);
    },
    showHeld(held) {
      this.held = held;
      this.$nextTick(() => this.showHands());
      const board = this.outlines.current;
      const other = held && !(board && board.body === held.body && board.light === held.light);
      if (!held) this.outlines.choose(null);
      else if (other) this.outlines.choose(held.body, held.light, held.copy ?? 0);
      this.redraw(false);
    },
    setFigures(on) {
      this.figures = on;
      this.glow.setFigures(on);
      this.redraw();
    },
    setMarks(marks) {
      this.marks.set(marks);
      this.redraw(false);
    },
    async playPulse() {
      const answer = await fetch("/live/pulse");
      if (!answer.ok) return;
      const player = new PulsePlayer(await answer.arrayBuffer());
      if (player.key !== this.glow.key) return;
      this.player = player;
      this.pulse = { strips: player.strips, seconds: player.seconds };
      this.scrub(0);
      // Who asked for less motion sets it going by hand, or moves along it.
      this.run(!matchMedia("(prefers-reduced-motion: reduce)").matches);
    },
    stopPulse() {
      this.run(false);
      if (!this.player) return;
      this.player = this.pulse = null; this.glow.around = ""; // where the player put its own
      this.light();
    },
    run(on) {
      this.playing = on;
      cancelAnimationFrame(this.beating);
      let before = performance.now();
      const beat = (now) => {
        if (!this.playing || !this.player) return;
        this.scrub((this.player.time + (now - before) / 1000) % this.player.seconds);
        before = now;
        this.beating = requestAnimationFrame(beat);
      };
      if (on) this.beating = requestAnimationFrame(beat);
    },
    scrub(time) {
      if (!this.player) return;
      this.player.time = this.moment = time;
      this.player.show(this.glow);
      this.redraw();
    },
    setClear(on) {
      this.glow.setClear(on);
      this.redraw();
    },
    setCut(on) {
      this.cut = on;
      this.redraw();
    },
    setHints(marks) {
      this.hints.set(marks);
      const gain = marks && Number(marks.gain.toPrecision(2));
      this.told = marks && `Plus: more light there helps the ${marks.words}; minus: less does. ` +
        `A board as bright as all together, at the best place, lifts it ${gain} times against the mean, about.`;
      this.redraw(false);
    },
    setDistance(distance) {
      this.orbit.distance = distance;
      this.redraw();
    },
    look(azimuth, elevation) {
      Object.assign(this.orbit, { azimuth, elevation });
      this.seen();
    },
    seen() {
      this.redraw();
      clearTimeout(this.telling);
      const { azimuth, elevation } = this.orbit;
      this.telling = setTimeout(() => this.$emit("view", { azimuth, elevation }), 150);
    },
    // A number that is being typed is left alone, whatever comes meanwhile.
    showHands() {
      for (const { hand, value } of this.held?.hands ?? []) {
        const field = this.$el.querySelector(`[data-hand=${hand}]`);
        if (field && !(this.typing === hand && field === document.activeElement)) field.value = value;
      }
    },
    typed(hand, event) {
      this.typing = null;
      const value = parseFloat(event.target.value);
      if (Number.isFinite(value)) this.$emit("type", { hand, value });
    },
    choose(board) {
      const chosen = board && { body: board.body, light: board.light, copy: board.copy };
      this.outlines.choose(chosen?.body ?? null, chosen?.light, chosen?.copy, board?.piece);
      this.$emit("choose", chosen);
      this.redraw(false);
    },
    down(event) {
      const canvas = this.$refs.canvas;
      canvas.focus();
      canvas.setPointerCapture(event.pointerId);
      this.pointers.set(event.pointerId, [event.offsetX, event.offsetY]);
      if (this.pointers.size > 1) return void (this.taken = null);
      const { clientWidth: w, clientHeight: h } = canvas;
      const board = this.outlines.under(event.offsetX, event.offsetY, this.orbit.camera, w, h);
      this.turned = 0;
      if (!board) return;
      this.choose(board);
      const start = this.outlines.place(board);
      this.taken = { start, from: [event.offsetX, event.offsetY], moved: false };
    },
    move(event) {
      const before = this.pointers.get(event.pointerId);
      if (!before) return;
      const here = [event.offsetX, event.offsetY];
      const [dx, dy] = [here[0] - before[0], here[1] - before[1]];
      if (this.pointers.size === 2) {
        const [other] = [...this.pointers].filter(([id]) => id !== event.pointerId).map(([, p]) => p);
        const span = (p) => Math.max(10, Math.hypot(p[0] - other[0], p[1] - other[1]));
        this.orbit.shift(dx / 2, dy / 2);
        this.orbit.nearer(span(here) / span(before), (here[0] + other[0]) / 2, (here[1] + other[1]) / 2);
        this.redraw();
      } else if (this.taken) this.carry(here, event.shiftKey);
      else {
        this.turned += Math.hypot(dx, dy);
        this.orbit.turn(-0.4 * dx, 0.4 * dy);
        this.seen();
      }
      this.pointers.set(event.pointerId, here);
    },
    carry(here, alongAxis) {
      const { start, from } = this.taken;
      const [dx, dy] = [here[0] - from[0], here[1] - from[1]];
      if (!this.taken.moved && Math.hypot(dx, dy) < 3) return;
      this.taken.moved = true;
      const board = this.outlines.current;
      const camera = this.orbit.camera;
      const depth = start.clone().sub(camera.position).dot(camera.getWorldDirection(new THREE.Vector3()));
      const mm = (2 * depth * Math.tan(THREE.MathUtils.degToRad(camera.fov) / 2)) / this.$el.clientHeight;
      const right = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 0);
      const up = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 1);
      // Up and down is along the body's axis where that stands upright on the screen, so that a
      // board pulled straight up stays on the axis; elsewhere it is the plane of the screen.
      const axis = new THREE.Vector3(...board.axes[2]);
      const lean = axis.dot(up);
      const upward = Math.abs(lean) > 0.5 ? axis.clone().divideScalar(lean) : up;
      const sideways = dx + upward.dot(right) * dy;
      const step = right.multiplyScalar(sideways * mm).addScaledVector(upward, -dy * mm);
      if (alongAxis) step.projectOnVector(axis);
      const place = start.clone().add(step);
      this.outlines.moveTo(board, place);
      this.redraw(false);
      const { body, light, copy, piece } = board;
      this.tell({ body, light, copy, piece, point: place.toArray() });
    },
    // One place is told at a time, and the next once it was taken in: none pile up.
    tell(drag) {
      this.next = drag;
      if (!this.pausing) this.send();
    },
    send() {
      if (!this.next) return;
      this.$emit("drag", this.next);
      this.next = null;
      this.pausing = setTimeout(() => this.took(), PATIENCE_MS);
    },
    took() {
      clearTimeout(this.pausing);
      this.pausing = 0;
      this.send();
    },
    up(event) {
      this.pointers.delete(event.pointerId);
      if (this.taken?.moved) {
        clearTimeout(this.pausing);
        this.pausing = 0;
        if (this.next) this.$emit("drag", this.next);
        this.next = null;
        this.$emit("drop");
      } else if (!this.taken && this.turned < 3 && this.pointers.size === 0) this.choose(null);
      this.taken = null;
      this.catchUp();
      this.redraw();
    },
    wheel(event) {
      this.orbit.nearer(Math.exp(-0.0015 * event.deltaY), event.offsetX, event.offsetY);
      this.redraw();
    },
    key(event) {
      if (event.ctrlKey || event.metaKey) return;
      const board = this.outlines.current;
      const way = KEYS[event.key];
      if (way && board && !event.altKey) this.nudge(board, way, event.shiftKey ? 0.1 : 1);
      else if (way) {
        this.orbit.turn(-5 * way[0], 5 * way[2]);
        this.seen();
      } else if (event.key === "b" || event.key === "B") this.nextBoard(event.shiftKey ? -1 : 1);
      else if (event.key === "Escape") this.choose(null);
      else if (event.key === "+" || event.key === "=") this.orbit.nearer(1.1);
      else if (event.key === "-") this.orbit.nearer(1 / 1.1);
      else if (event.key === "Delete" && board) this.$emit("act", "remove");
      else return;
      event.preventDefault();
      this.redraw();
    },
    // Left and right, near and far are the body's own axes that lie nearest to the screen's.
    nudge(board, way, mm) {
      const right = new THREE.Vector3().setFromMatrixColumn(this.orbit.camera.matrixWorld, 0);
      const [x, y] = [0, 1].map((k) => right.dot(new THREE.Vector3(...board.axes[k])));
      const across = Math.abs(x) >= Math.abs(y) ? [Math.sign(x) || 1, 0] : [0, Math.sign(y) || 1];
      const step = [across[0] * way[0] - across[1] * way[1],
        across[1] * way[0] + across[0] * way[1], way[2]].map((v) => v * mm);
      this.$emit("nudge", { body: board.body, light: board.light, step });
    },
    nextBoard(by) {
      const boards = this.outlines.boards;
      if (!boards.length) return;
      const now = boards.indexOf(this.outlines.current);
      this.choose(boards[now < 0 ? 0 : (now + by + boards.length) % boards.length]);
    },
    // Where a place of the prop lies on the screen, for tests.
    onScreen(point) {
      const p = new THREE.Vector3(...point).project(this.orbit.camera);
      const { clientWidth: w, clientHeight: h } = this.$el;
      return [((p.x + 1) / 2) * w, ((1 - p.y) / 2) * h];
    },
  },
};
