// A camera that goes round the prop: angles as a photo has them, and how near it looks.
import { THREE } from "nicegui-scene";

const LIFT = 0.06; // share of the height by which the prop stands above the middle, for the sentence

export class Orbit {
  constructor(azimuth, elevation, distance) {
    Object.assign(this, { azimuth, elevation, distance, zoom: 1 });
    this.camera = new THREE.PerspectiveCamera(30, 1, 1, 1e5);
    this.camera.up.set(0, 0, 1);
    this.middle = new THREE.Vector3();
    this.home = new THREE.Vector3(); // where it looks as long as it is not nearer than at first
    this.radius = this.across = this.upward = 100;
  }

  frame(box) {
    box.getCenter(this.home);
    this.middle.copy(this.home);
    const size = box.getSize(new THREE.Vector3());
    this.radius = Math.max(size.length() / 2, 1);
    // What it takes up on the screen from whatever side: across, and up with some tilt.
    this.across = Math.max(Math.hypot(size.x, size.y) / 2, 0.5);
    this.upward = Math.max(size.z / 2 + 0.25 * this.across, 0.6 * this.across);
  }

  turn(azimuth, elevation) {
    this.azimuth = ((this.azimuth + azimuth + 540) % 360) - 180;
    this.elevation = Math.min(89, Math.max(-89, this.elevation + elevation));
  }

  // x, y: the place on the screen that stays where it is; the middle of the prop if left out.
  nearer(factor, x, y) {
    const zoom = Math.min(20, Math.max(0.4, this.zoom * factor));
    if (x !== undefined) {
      const share = 1 - this.zoom / zoom;
      this.shift(share * (this.width / 2 - x), share * ((0.5 - LIFT) * this.height - y));
    }
    this.zoom = zoom;
    if (zoom <= 1) this.middle.copy(this.home);
  }

  // Move what is seen by so many pixels, never off the prop.
  shift(dx, dy) {
    const mm = (2 * this.half) / this.height;
    const [right, up] = [0, 1].map((k) => new THREE.Vector3().setFromMatrixColumn(this.camera.matrixWorld, k));
    this.middle.addScaledVector(right, -dx * mm).addScaledVector(up, dy * mm);
    this.middle.sub(this.home).clampLength(0, this.radius).add(this.home);
  }

  // Half of the height that is seen, at the middle [mm].
  get half() {
    return Math.max(this.upward, (this.across * this.height) / this.width) / 0.72 / this.zoom;
  }

  update(width, height) {
    Object.assign(this, { width, height });
    const camera = this.camera;
    const [a, e] = [this.azimuth, this.elevation].map(THREE.MathUtils.degToRad);
    const distance = Math.max(this.distance, 2 * this.radius);
    const back = new THREE.Vector3(
      Math.sin(a) * Math.cos(e), -Math.cos(a) * Math.cos(e), Math.sin(e));
    camera.position.copy(this.middle).addScaledVector(back, distance);
    camera.lookAt(this.middle);
    camera.fov = 2 * THREE.MathUtils.radToDeg(Math.atan(this.half / distance));
    camera.aspect = width / height;
    camera.near = Math.max(1, distance - 3 * this.radius);
    camera.far = distance + 3 * this.radius;
    camera.setViewOffset(width, height, 0, LIFT * height, width, height);
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
  }
}
