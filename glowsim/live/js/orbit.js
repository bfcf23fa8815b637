// A camera that goes round the prop: angles as a photo has them, and how near it looks.
import { THREE } from "nicegui-scene";

export class Orbit {
  constructor(azimuth, elevation, distance) {
    Object.assign(this, { azimuth, elevation, distance, zoom: 1 });
    this.camera = new THREE.PerspectiveCamera(30, 1, 1, 1e5);
    this.camera.up.set(0, 0, 1);
    this.middle = new THREE.Vector3();
    this.radius = this.across = this.upward = 100;
  }

  frame(box) {
    box.getCenter(this.middle);
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

  nearer(factor) {
    this.zoom = Math.min(20, Math.max(0.4, this.zoom * factor));
  }

  update(width, height) {
    const camera = this.camera;
    const [a, e] = [this.azimuth, this.elevation].map(THREE.MathUtils.degToRad);
    const distance = Math.max(this.distance, 2 * this.radius);
    const back = new THREE.Vector3(
      Math.sin(a) * Math.cos(e), -Math.cos(a) * Math.cos(e), Math.sin(e));
    camera.position.copy(this.middle).addScaledVector(back, distance);
    camera.lookAt(this.middle);
    const half = Math.max(this.upward, (this.across * height) / width) / distance / 0.72 / this.zoom;
    camera.fov = 2 * THREE.MathUtils.radToDeg(Math.atan(half));
    camera.aspect = width / height;
    camera.near = Math.max(1, distance - 3 * this.radius);
    camera.far = distance + 3 * this.radius;
    camera.setViewOffset(width, height, 0, 0.06 * height, width, height); // above the sentence
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
  }
}
