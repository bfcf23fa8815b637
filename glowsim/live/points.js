// A photo of a lit piece: points of the piece are clicked on it and dragged, the stretch that is
// read is moved by its ends. What comes back is where the camera stood, drawn over the photo.
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const STILL_PX = 3;

export default {
  template: `
    <div class="sheet">
      <svg ref="photo" class="photo" :viewBox="box.join(' ')" preserveAspectRatio="xMidYMid meet"
        role="img" aria-label="The photo" @pointerdown="down" @pointermove="move" @pointerup="up"
        @pointercancel="held = null" @wheel.prevent="wheel">
        <image v-if="size[0]" :href="'/live/photo/' + photo + '/' + shot" :width="size[0]" :height="size[1]"
          :style="{ filter: 'brightness(' + bright + ')' }"/>
        <path class="fit" :d="edges"/>
        <path class="strip" :d="rims"/>
        <polygon class="strip" :points="strip.join(' ')"/>
        <g v-for="(e, k) in ends" class="end" @pointerdown.stop="grab($event, 'end', k)">
          <circle :cx="e[0]" :cy="e[1]" :r="9 * unit"/>
          <title>{{ k ? 'where the stretch ends' : 'where the stretch begins' }}</title></g>
        <template v-for="(p, n) in points">
          <line v-if="p.pixel && seen[n]" class="off" :x1="p.pixel[0]" :y1="p.pixel[1]" :x2="seen[n][0]" :y2="seen[n][1]"/>
          <g v-if="p.pixel" class="point" :class="{ now: n === current }" @pointerdown.stop="grab($event, 'point', n)">
            <circle :cx="p.pixel[0]" :cy="p.pixel[1]" :r="11 * unit"/>
            <path :d="cross(p.pixel)"/>
            <text :x="p.pixel[0] + 14 * unit" :y="p.pixel[1] - 8 * unit" :font-size="15 * unit">{{ n + 1 }}</text></g>
        </template>
      </svg>
      <aside>
        <p class="dim" v-if="by_card">{{ outline.length ? "The marks card was found by itself; nothing is to be clicked."
          : "The marks card is to find itself: all of it must be seen, flat, in room light." }}</p>
        <ol v-else>
          <li v-for="(p, n) in points">
            <button class="quiet" :class="{ now: n === current }" @click="current = n"
              @keydown="nudge(n, $event)">{{ p.words }}
              <small>{{ p.pixel ? p.pixel.join(', ') + ' px' : 'to be clicked' }}</small></button>
            <button class="quiet" :aria-label="'leave out ' + p.words" title="leave it out"
              @click="$emit('forget', n)">×</button>
          </li>
        </ol>
        <p class="dim" v-if="!by_card">Drag a point to correct it, or press its line here: arrow keys move it by a
          pixel. Turn the wheel to come nearer.</p>
        <form v-if="!by_card && points.length < 6" @submit.prevent="add">
          <label>another point, at mm</label>
          <input v-for="(a, k) in ['x', 'y', 'z']" type="number" step="any" v-model.number="place[k]"
            :aria-label="a + ' in mm'" :placeholder="a">
          <button class="quiet">add</button></form>
        <label class="slide">brighter <input type="range" min="1" max="12" step="0.5" v-model.number="bright"
          aria-label="show the photo brighter"></label>
        <label v-if="shots.length > 1">image <select v-model="shot" aria-label="image">
          <option v-for="(s, k) in shots" :value="k">{{ s }}</option></select></label>
        <figure v-if="profile.length">
          <svg viewBox="0 0 100 60" preserveAspectRatio="none" aria-hidden="true"><polyline :points="line"/></svg>
          <figcaption>light along the stretch, from {{ profile[0][0].toFixed(0) }} to {{ profile.at(-1)[0].toFixed(0) }} mm;
            down to {{ (100 * 10 ** least).toPrecision(2) }} % on powers of ten</figcaption></figure>
      </aside>
    </div>`,
  data: () => ({ photo: 0, size: [0, 0], shots: [], shot: 0, brightest: 0, points: [], ends: [], seen: [], strip: [],
    outline: [], profile: [], patches: [], by_card: false, current: null, box: [0, 0, 1, 1], unit: 1, bright: 1,
    place: [null, null, null], held: null }),
  computed: {
    rims() {
      return this.patches.map((rim) => `M${rim.map((p) => p.join(" ")).join("L")}Z`).join("");
    },
    edges() {
      return this.outline.map(([a, b]) => `M${a.join(" ")}L${b.join(" ")}`).join("");
    },
    least() {
      return Math.min(...this.profile.map((p) => p[1]));
    },
    line() {
      const [first, last] = [this.profile[0][0], this.profile.at(-1)[0]];
      return this.profile.map(([mm, v]) =>
        `${(100 * (mm - first)) / (last - first)},${2 + (56 * v) / Math.min(this.least, -0.01)}`).join(" ");
    },
  },
  mounted() {
    this.resizer = new ResizeObserver(() => this.measure());
    this.resizer.observe(this.$refs.photo);
    window.glowsimPhoto = this; // tests ask it what is shown
    this.$emit("ready");
  },
  unmounted() {
    this.resizer.disconnect();
  },
  methods: {
    show(state) {
      const other = state.photo !== this.photo || String(state.size) !== String(this.size);
      const more = state.points.length > this.points.length;
      Object.assign(this, state);
      if (other) {
        this.box = [0, 0, ...this.size];
        this.shot = this.brightest;
        this.$nextTick(() => this.measure());
      }
      const waits = this.points.findIndex((p) => !p.pixel);
      if (other || more || this.current >= this.points.length) this.current = waits < 0 ? null : waits;
      this.shown = (this.shown ?? 0) + 1;
    },
    measure() {
      const matrix = this.$refs.photo?.getScreenCTM();
      if (matrix) this.unit = 1 / matrix.a;
    },
    cross([x, y]) {
      const r = 5 * this.unit;
      return `M${x - r} ${y}H${x + r}M${x} ${y - r}V${y + r}`;
    },
    at(event) {
      const matrix = this.$refs.photo.getScreenCTM().inverse();
      const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
      return [p.x, p.y];
    },
    grab(event, kind, n) {
      this.$refs.photo.setPointerCapture(event.pointerId);
      const old = kind === "end" ? this.ends[n] : this.points[n].pixel;
      if (kind === "point") this.current = n;
      this.held = { kind, n, from: this.at(event), old, screen: [event.clientX, event.clientY], moved: false };
    },
    down(event) {
      this.$refs.photo.setPointerCapture(event.pointerId);
      this.held = { kind: "photo", from: this.at(event), screen: [event.clientX, event.clientY], moved: false };
    },
    move(event) {
      const held = this.held;
      if (!held) return;
      const [sx, sy] = held.screen;
      held.moved ||= Math.hypot(event.clientX - sx, event.clientY - sy) > STILL_PX;
      if (!held.moved) return;
      const [x, y] = this.at(event);
      const [dx, dy] = [x - held.from[0], y - held.from[1]];
      if (held.kind === "photo") this.box = [this.box[0] - dx, this.box[1] - dy, this.box[2], this.box[3]];
      else {
        held.now = [held.old[0] + dx, held.old[1] + dy];
        if (held.kind === "end") this.ends[held.n] = held.now;
        else this.points[held.n].pixel = held.now;
      }
    },
    up() {
      const held = this.held;
      this.held = null;
      if (!held) return;
      if (held.kind === "photo" && !held.moved) this.put(this.current, held.from);
      else if (held.kind === "point" && held.moved) this.$emit("put", { n: held.n, pixel: held.now });
      else if (held.kind === "end" && held.moved)
        this.$emit("stretch", { end: held.n ? "to" : "from", pixel: held.now });
    },
    // A click puts the point whose turn it is, and the next one takes its turn.
    put(n, pixel) {
      if (n === null || n === undefined || !this.points[n]) return;
      this.points[n].pixel = pixel;
      const waits = this.points.findIndex((p) => !p.pixel);
      this.current = waits < 0 ? null : waits;
      this.$emit("put", { n, pixel });
    },
    nudge(n, event) {
      const way = ARROWS[event.key];
      if (!way) return;
      event.preventDefault();
      this.current = n;
      const [x, y] = this.points[n].pixel ?? [this.size[0] / 2, this.size[1] / 2];
      const px = event.shiftKey ? 0.1 : 1;
      const pixel = [x + px * way[0], y + px * way[1]];
      this.points[n].pixel = pixel;
      this.$emit("put", { n, pixel });
    },
    add() {
      if (this.place.every(Number.isFinite)) this.$emit("add", this.place);
    },
    wheel(event) {
      const [x, y] = this.at(event), by = Math.exp(0.0015 * event.deltaY);
      const wide = Math.min(Math.max(this.box[2] * by, this.size[0] / 40), this.size[0]);
      const share = wide / this.box[2];
      this.box = [x - (x - this.box[0]) * share, y - (y - this.box[1]) * share, wide, this.box[3] * share];
      if (wide === this.size[0]) this.box = [0, 0, ...this.size];
      this.$nextTick(() => this.measure());
    },
  },
};
