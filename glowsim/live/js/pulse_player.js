// Plays the zones at the scene's own pace: light adds up, so each moment is the still light and
// every member's own times its level. Nothing is asked of the program meanwhile.
export class PulsePlayer {
  constructor(buffer) {
    const end = new Uint8Array(buffer).indexOf(10);
    this.told = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 0, end)));
    const values = new Float32Array(buffer, end + 1);
    let start = 0;
    const take = (count) => values.subarray(start, (start += count));
    const size = 3 * this.told.corners;
    this.still = { glow: take(size), across: take(size), back: take(size) };
    this.members = this.told.members.map((member) => ({
      ...member,
      glow: take(3 * member.count),
      across: take(3 * member.count),
    }));
    this.time = 0;
    this.playing = false;
  }

  get key() {
    return this.told.shape;
  }

  get seconds() {
    return this.told.seconds;
  }

  // A member's level at a time, between the two moments that are known.
  level(member, time) {
    const { levels } = member;
    const place = (time / this.seconds) * levels.length;
    const one = Math.floor(place) % levels.length;
    return levels[one] + (place - Math.floor(place)) * (levels[(one + 1) % levels.length] - levels[one]);
  }

  show(glow) {
    const { attributes } = glow.mesh.geometry;
    const blended = { glow: attributes.glow.array, across: attributes.across.array };
    if (blended.glow.length !== this.still.glow.length) return;
    for (const part of ["glow", "across"]) blended[part].set(this.still[part]);
    attributes.back.array.set(this.still.back);
    for (const member of this.members) {
      const level = this.level(member, this.time), first = 3 * member.first;
      for (const part of ["glow", "across"]) {
        const own = member[part], into = blended[part];
        for (let k = 0; k < own.length; k++) into[first + k] += level * own[k];
      }
    }
    const { array } = attributes.calm;
    for (let k = 0; k < array.length; k++)
      array[k] = blended.glow[3 * k + 1] + blended.across[3 * k + 1];
    for (const part of ["glow", "across", "back", "calm"]) attributes[part].needsUpdate = true;
  }

  // Lines of the strip chart, one below the other: levels over time, in each light's own colour.
  get strips() {
    return this.members.map(({ name, levels, colour }, row) => ({
      name,
      colour,
      line: levels.map((v, k) => `${((100 * k) / levels.length).toFixed(2)},${(10 * row + 9 - 8 * v).toFixed(2)}`).join(" "),
    }));
  }
}
