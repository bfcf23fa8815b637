// Which triangles of a surface are seen from where one stands. Where one stays there and the light
// changes, a processor that draws without a graphics card has but these to draw.
import { THREE } from "nicegui-scene";

const VERTEX = `
  flat varying vec3 number;
  void main() {
    int k = gl_VertexID / 3 + 1;
    number = vec3(k >> 16, (k >> 8) & 255, k & 255) / 255.0;
    vec4 place = modelViewMatrix * vec4(position, 1.0);
    gl_Position = projectionMatrix * place;
  }`;
const FRAGMENT = "flat varying vec3 number; void main() { gl_FragColor = vec4(number, 1.0); }";

export class SeenTriangles {
  constructor() {
    this.numbered = new THREE.ShaderMaterial({ vertexShader: VERTEX, fragmentShader: FRAGMENT, blending: THREE.NoBlending });
    this.from = null; // where they are seen from
    this.last = null; // where one stood last
  }

  // Draws a scene into a target, whose triangles on the surface in it hide what lies behind them.
  draw(renderer, scene, mesh, camera, target) {
    const from = standpoint(mesh, camera, target);
    if (from !== this.from && from === this.last) this.find(renderer, mesh, camera, target, from);
    this.last = from;
    const { geometry } = mesh, every = geometry.index;
    if (from === this.from) {
      geometry.setIndex(this.index);
      geometry.setDrawRange(0, this.count);
    }
    renderer.setRenderTarget(target);
    renderer.clear();
    renderer.render(scene, camera);
    renderer.setRenderTarget(null);
    geometry.setIndex(every);
    geometry.setDrawRange(0, Infinity);
  }

  find(renderer, mesh, camera, target, from) {
    const every = mesh.geometry.index.array, { width, height } = target;
    const numbers = new Uint8Array(4 * width * height);
    const surface = new THREE.Mesh(apart(mesh.geometry), this.numbered);
    surface.frustumCulled = false;
    renderer.setRenderTarget(target);
    renderer.clear();
    renderer.render(surface, camera);
    renderer.readRenderTargetPixels(target, 0, 0, width, height, numbers);
    surface.geometry.dispose();
    const seen = new Uint8Array(every.length / 3 + 1);
    for (let k = 0; k < numbers.length; k += 4)
      seen[(numbers[k] << 16) | (numbers[k + 1] << 8) | numbers[k + 2]] = 1;
    if (this.index?.array.length !== every.length)
      this.index = new THREE.BufferAttribute(new Uint32Array(every.length), 1);
    this.count = 0;
    for (let k = 1; k < seen.length; k++)
      if (seen[k]) for (let c = 3 * k - 3; c < 3 * k; c++) this.index.array[this.count++] = every[c];
    this.index.addUpdateRange(0, this.count);
    this.index.needsUpdate = true;
    this.from = from;
  }
}

// Each triangle with corners of its own, so that it can be numbered.
function apart(geometry) {
  const index = geometry.index.array, place = geometry.attributes.position.array;
  const corners = new Float32Array(3 * index.length);
  for (let k = 0; k < index.length; k++)
    for (let axis = 0; axis < 3; axis++) corners[3 * k + axis] = place[3 * index[k] + axis];
  return new THREE.BufferGeometry().setAttribute("position", new THREE.BufferAttribute(corners, 3));
}

function standpoint({ geometry }, camera, { width, height }) {
  return [geometry.uuid, width, height, ...camera.projectionMatrix.elements, ...camera.matrixWorld.elements].join();
}
