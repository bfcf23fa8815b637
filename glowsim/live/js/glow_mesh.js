// The prop's surface: places once, luminance (CIE XYZ, cd/m2) at every smooth corner as it comes,
// developed in the shader by the same law as a photo, or coloured by the scale of the map.
import { THREE } from "nicegui-scene";

const VERTEX = `
  attribute vec3 glow;
  attribute vec3 across;
  attribute vec3 back;
  attribute float lit;
  attribute float calm;
  varying float vCalm;
  varying vec3 vGlow;
  varying vec3 vAcross;
  varying vec3 vBack;
  varying float vLit;
  varying float vToward;
  varying vec3 vPlace;
  void main() {
    vAcross = across;
    vCalm = calm;
    vPlace = position;
    vGlow = glow;
    vBack = back;
    vLit = lit;
    vec4 place = modelViewMatrix * vec4(position, 1.0);
    vToward = abs(dot(normalize(normalMatrix * normal), normalize(place.xyz)));
    gl_Position = projectionMatrix * place;
  }`;

const MOST_TICKS = 16;
const FRAGMENT = `
  #define TICKS ${MOST_TICKS}
  uniform mat3 rgbFromXyz;
  uniform float exposure, shoulder, spill, low, high, opacity;
  uniform bool figures, logarithmic;
  uniform sampler2D steps;
  uniform vec4 cut;
  uniform float limb[32];
  uniform float ticks[TICKS];
  uniform int tickCount;
  varying float vCalm;
  varying vec3 vGlow;
  varying vec3 vAcross;
  varying vec3 vBack;
  varying float vLit;
  varying float vToward;
  varying vec3 vPlace;
  const vec3 Y = vec3(0.2126729, 0.7151522, 0.0721750);

  vec3 inGamut(vec3 rgb) {
    vec3 cut = max(rgb, 0.0);
    float after = dot(cut, Y);
    return cut * max(dot(rgb, Y), 0.0) / (after > 0.0 ? after : 1.0);
  }
  vec3 developed(vec3 xyz) {
    vec3 rgb = inGamut(rgbFromXyz * (xyz / exposure));
    float bright = max(max(rgb.r, rgb.g), rgb.b);
    vec3 hue = rgb / max(bright, 1e-12);
    float white = bright * bright / (bright * bright + spill * spill);
    float shown = min(bright * (1.0 + shoulder) / (1.0 + shoulder * bright), 1.0);
    return shown * (hue + white * (1.0 - hue));
  }
  vec3 encoded(vec3 u) {
    vec3 curve = 1.055 * pow(max(u, 0.0031308), vec3(1.0 / 2.4)) - 0.055;
    return mix(curve, 12.92 * u, vec3(lessThanEqual(u, vec3(0.0031308))));
  }
  // How much of a contour line lies here: where the calmed glow passes a tick of the scale.
  float contour() {
    float value = logarithmic ? log(max(vCalm, 1e-6)) : vCalm;
    float width = fwidth(value) + 1e-9, line = 0.0;
    for (int k = 0; k < TICKS; k++) {
      if (k >= tickCount) break;
      float tick = logarithmic ? log(ticks[k]) : ticks[k];
      line = max(line, 1.0 - smoothstep(0.5, 1.1, abs(value - tick) / width));
    }
    return width < 0.7 * abs(logarithmic ? 1.0 : high - low) ? line : 0.0;
  }
  void main() {
    if (dot(vPlace, cut.xyz) > cut.w) discard;
    // A glowing face is dimmer toward its limb.
    float place = clamp(vToward, 0.0, 1.0) * 31.0;
    int step0 = int(min(floor(place), 30.0));
    vec3 own = mix(limb[step0], limb[step0 + 1], place - float(step0)) * vGlow + vAcross;
    vec3 colour = encoded(developed(own + vBack));
    if (figures) {
      float share = logarithmic ? log(max(own.y, low) / low) / log(high / low)
                                : (own.y - low) / (high - low);
      vec3 scale = texture2D(steps, vec2(clamp(share, 0.0, 1.0), 0.5)).rgb;
      float bright = (scale.r + scale.g + scale.b) / 3.0;
      scale = mix(scale, vec3(bright > 0.43 ? 0.08 : 0.96), 0.55 * contour());
      colour = mix(vec3(0.31 + 0.25 * vToward), scale, step(0.5, vLit));
    }
    // The inside of what is cut open is not a surface that was worked out: it stays dim.
    gl_FragColor = vec4(gl_FrontFacing ? colour : 0.35 * colour, opacity);
  }`;

export class GlowMesh {
  constructor(law) {
    this.uniforms = {
      rgbFromXyz: { value: new THREE.Matrix3().set(...law.rgb_from_xyz) },
      exposure: { value: law.exposure },
      shoulder: { value: law.shoulder },
      spill: { value: law.spill },
      low: { value: 0 },
      high: { value: 1 },
      logarithmic: { value: false },
      figures: { value: false },
      opacity: { value: 1 },
      steps: { value: null },
      ticks: { value: new Array(MOST_TICKS).fill(1) },
      tickCount: { value: 0 },
      limb: { value: new Array(32).fill(1) },
      cut: { value: new THREE.Vector4(0, 0, 0, 1) },
    };
    const shading = { uniforms: this.uniforms, vertexShader: VERTEX, fragmentShader: FRAGMENT };
    this.material = new THREE.ShaderMaterial(shading);
    this.mesh = new THREE.Mesh(new THREE.BufferGeometry(), this.material);
    this.mesh.frustumCulled = false;
    this.open = false; // cut
    this.key = this.around = ""; // what it has: its shape, and what is sent back, see `Seen.around`
  }

  setShape(key, buffer) {
    const [corners, triangles] = new Uint32Array(buffer, 0, 2);
    const floats = (first, count) => new Float32Array(buffer, 8 + 4 * first, count);
    const geometry = new THREE.BufferGeometry();
    const add = (name, values, size) =>
      geometry.setAttribute(name, new THREE.BufferAttribute(values, size));
    add("position", floats(0, 3 * corners), 3);
    add("normal", floats(3 * corners, 3 * corners), 3);
    add("lit", floats(6 * corners, corners), 1);
    add("glow", new Float32Array(3 * corners), 3);
    add("across", new Float32Array(3 * corners), 3);
    add("back", new Float32Array(3 * corners), 3);
    add("calm", new Float32Array(corners), 1);
    const index = new Uint32Array(buffer, 8 + 4 * 7 * corners, 3 * triangles);
    geometry.setIndex(new THREE.BufferAttribute(index, 1));
    geometry.computeBoundingBox();
    this.mesh.geometry.dispose();
    this.mesh.geometry = geometry;
    this.key = key;
    this.around = "";
  }

  setLight(buffer, start, heading) {
    const { glow, across, back, calm } = this.mesh.geometry.attributes;
    const values = new Float32Array(buffer, start);
    const parts = heading.whole ? [glow, across, back, calm] : [glow, calm];
    const sizes = parts.map((part) => part.itemSize * heading.count);
    this.around = ""; // if this is not what it is thought to be, the next is fetched whole
    if (values.length !== sizes.reduce((sum, size) => sum + size, 0)) return;
    if (parts.some((part) => part.count < heading.first + heading.count)) return;
    let taken = 0;
    parts.forEach((part, k) => {
      const first = part.itemSize * heading.first;
      part.array.set(values.subarray(taken, taken + sizes[k]), first);
      taken += sizes[k];
      if (!sizes[k]) return;
      part.addUpdateRange(first, sizes[k]);
      part.needsUpdate = true;
    });
    this.around = heading.around;
    this.uniforms.limb.value = heading.limb;
    this.uniforms.exposure.value = heading.exposure;
    const scale = heading.scale;
    this.uniforms.low.value = scale.low;
    this.uniforms.high.value = scale.high;
    this.uniforms.logarithmic.value = scale.logarithmic;
    this.uniforms.tickCount.value = Math.min(scale.ticks.length, MOST_TICKS);
    scale.ticks.slice(0, MOST_TICKS).forEach((tick, k) => (this.uniforms.ticks.value[k] = tick[2]));
    if (!this.uniforms.steps.value) this.uniforms.steps.value = scaleTexture(scale.steps);
  }

  setFigures(on) {
    this.uniforms.figures.value = on;
  }

  setClear(on) {
    this.uniforms.opacity.value = on ? 0.35 : 1;
    this.material.transparent = on;
    this.material.depthWrite = !on;
    this.setSides();
  }

  // Whether the surface hides what lies behind it, its own far side too.
  get solid() {
    return !this.material.transparent && !this.open;
  }

  setSides() {
    this.material.side = this.solid ? THREE.FrontSide : THREE.DoubleSide;
  }

  // Cuts away what is nearer to the viewer than the prop's middle, or than the board in hand.
  setCut(orbit, place) {
    const cut = this.uniforms.cut.value;
    this.open = orbit !== null;
    this.setSides();
    if (!orbit) return void cut.set(0, 0, 0, 1);
    const way = orbit.camera.getWorldDirection(new THREE.Vector3()).negate();
    way.z = 0; // upright, as a saw would
    way.normalize();
    cut.set(way.x, way.y, way.z, way.dot(place ?? orbit.middle) + 0.01);
  }

  get box() {
    return this.mesh.geometry.boundingBox;
  }
}

function scaleTexture(steps) {
  const width = 256;
  const data = new Uint8Array(4 * width);
  const colours = steps.map((hex) => [0, 2, 4].map((k) => parseInt(hex.slice(k, k + 2), 16)));
  for (let k = 0; k < width; k++) {
    const place = (k / (width - 1)) * (colours.length - 1);
    const one = Math.min(Math.floor(place), colours.length - 2);
    for (let band = 0; band < 3; band++)
      data[4 * k + band] =
        colours[one][band] + (place - one) * (colours[one + 1][band] - colours[one][band]);
    data[4 * k + 3] = 255;
  }
  const texture = new THREE.DataTexture(data, width, 1);
  texture.magFilter = texture.minFilter = THREE.LinearFilter;
  texture.needsUpdate = true;
  return texture;
}
