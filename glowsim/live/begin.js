// The first page where there is no scene yet: one sentence of choices, or a mesh that is dropped.
export default {
  template: `
    <section class="begin" @dragover.prevent="over = true" @dragleave="over = false"
        @drop.prevent="dropped" :class="{ over }">
      <h1>What shall glow?</h1>
      <p class="sentence">
        <template v-if="mesh">
          The mesh <b>{{ mesh.name }}</b>,
          <select v-model="unit" aria-label="its size">
            <option v-for="u in mesh.units" :value="u.unit">{{ u.words }} (its numbers are {{ u.unit }})</option>
          </select>: right?
          It is
        </template>
        <template v-else>
          A <select v-model="shape" aria-label="shape">
            <option v-for="(_, name) in choices.shapes">{{ name }}</option></select>,
          <template v-for="(m, key, k) in choices.shapes[shape]">
            <template v-if="k"> and </template>
            <input type="number" min="1" step="1" v-model.number="sizes[shape][key]"
              :aria-label="m[0] + ' in mm'"> mm {{ m[0] }}</template>,
        </template>
        <select v-model="hollow" aria-label="solid or hollow">
          <option :value="false">solid</option><option :value="true">hollow, with a wall of</option></select>
        <template v-if="hollow"> <input type="number" min="0.2" step="0.2" v-model.number="wall"
          aria-label="wall in mm"> mm</template>, of
        <select v-model="material" aria-label="material">
          <option v-for="(words, name) in choices.materials" :value="name">{{ words }}</option></select>,
        lit by a
        <select v-model="board" aria-label="light board">
          <option v-for="(words, name) in choices.boards" :value="name">{{ words }}</option></select>.
      </p>
      <p class="dim">
        <template v-if="mesh"><button class="quiet" @click="mesh = null">a simple shape instead</button></template>
        <template v-else>Or drop a mesh here (STL, OBJ, PLY, GLB or 3MF), or
          <label class="quiet pick" tabindex="0" @keydown.enter="$refs.file.click()"
            @keydown.space.prevent="$refs.file.click()">choose its file<input ref="file" type="file"
            :accept="choices.kinds" @change="chosen" tabindex="-1"></label></template>
      </p>
      <p><button class="go" @click="go" :disabled="!!busy">light it</button>
        <span class="dim"> and the scene is written to {{ choices.folder }}</span></p>
      <p class="wrong" role="alert" v-show="wrong">{{ wrong }}
        <button v-if="fits" class="quiet" @click="board = fits; go()">light it with that one</button></p>
      <p class="dim" role="status" v-show="busy">{{ busy }}</p>
    </section>`,
  props: { choices: Object },
  data() {
    const first = (group) => Object.keys(this.choices[group])[0];
    const sizes = {};
    for (const [name, measures] of Object.entries(this.choices.shapes))
      sizes[name] = Object.fromEntries(Object.entries(measures).map(([key, m]) => [key, m[1]]));
    return { shape: first("shapes"), sizes, mesh: null, unit: null, hollow: false, wall: 1.2,
      material: first("materials"), board: this.choices.board, wrong: "", fits: null, busy: "", over: false };
  },
  mounted() {
    if (this.choices.mesh) this.took(this.choices.mesh);
  },
  methods: {
    go() {
      this.wrong = "";
      this.fits = null;
      this.busy = "shaping it …";
      this.$emit("make", { shape: this.mesh ? null : this.shape, sizes: this.sizes[this.shape],
        mesh: this.mesh?.name ?? null, unit: this.mesh ? this.unit : null,
        wall_mm: this.hollow ? this.wall : null, material: this.material, board: this.board });
    },
    failed(words, fits) {
      this.busy = "";
      this.wrong = words;
      this.fits = fits ?? null;
    },
    took(mesh) {
      this.mesh = mesh;
      this.unit = mesh.likely;
      this.busy = this.wrong = "";
      this.fits = null;
    },
    dropped(event) {
      this.over = false;
      const file = event.dataTransfer?.files?.[0];
      if (file) this.send(file);
    },
    chosen(event) {
      const file = event.target.files[0];
      if (file) this.send(file);
      event.target.value = "";
    },
    async send(file) {
      if (file.size > this.choices.most_bytes)
        return this.failed(`${file.name} is too large: at most ${this.choices.most_bytes >> 20} MB; simplify the mesh first`);
      this.wrong = "";
      this.busy = `reading ${file.name} …`;
      try {
        const answer = await fetch(`/live/mesh?name=${encodeURIComponent(file.name)}`, { method: "PUT", body: file });
        const told = await answer.json();
        if (answer.ok) this.took(told);
        else this.failed(told.error);
      } catch {
        this.failed(`${file.name} did not arrive; try again`);
      }
    },
  },
};
