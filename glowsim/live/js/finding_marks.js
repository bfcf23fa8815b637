// Numbered marks of the findings, as the pictures have them: a triangle for a hot spot, a square for
// a dark gap, a diamond for a light leak; hollow where the place is hidden from this side.
import { THREE } from "nicegui-scene";

const WIDTH = 480; // of the picture of distances that tells what is hidden
const BEHIND = 0.012; // share of the prop's size a mark may lie behind what is seen, and still be
const SYMBOLS = {
  hot: "0,-8 7,5.3 -7,5.3",
  dark: "-6,-6 6,-6 6,6 -6,6",
  leak: "0,-8 6,0 0,8 -6,0",
};
const WAYS = [-60, -120, 60, 120, 0, 180].map((degrees) => (degrees * Math.PI) / 180);

export class FindingMarks {
  constructor() {
    this.marks = [];
    this.material = new THREE.MeshDepthMaterial({
      depthPacking: THREE.RGBADepthPacking, side: THREE.DoubleSide });
  }

  set(marks) {
    this.marks = marks ?? [];
  }

  // Where each mark stands on the screen: { number, kind, label, x, y, tx, ty, seen }.
  placed(renderer, mesh, orbit, width, height) {
    if (!this.marks.length || !mesh.geometry.index) return [];
    const depth = this.distances(renderer, mesh, orbit.camera, width, height);
    const taken = [];
    return this.marks.map(({ number, kind, label, places }) => {
      const spots = places.map((p) => this.spot(p, orbit, depth, width, height));
      const spot = spots.find((s) => s.seen) ?? spots[0];
      const [tx, ty] = freeSpot(spot, taken);
      taken.push([spot.x, spot.y], [tx, ty]);
      return { number, kind, label, ...spot, tx, ty, symbol: SYMBOLS[kind] };
    });
  }

  spot(place, orbit, depth, width, height) {
    const p = new THREE.Vector3(...place);
    const away = -p.clone().applyMatrix4(orbit.camera.matrixWorldInverse).z;
    p.project(orbit.camera);
    const x = ((p.x + 1) / 2) * width, y = ((1 - p.y) / 2) * height;
    const inside = x >= 0 && y >= 0 && x < width && y < height;
    return { x, y, seen: inside && away < depth(x, y) + BEHIND * 2 * orbit.radius };
  }

  // How far away what is seen first lies, as a function of a place on the screen.
  distances(renderer, mesh, camera, width, height) {
    const w = WIDTH, h = Math.max(1, Math.round((WIDTH * height) / width));
    const target = new THREE.WebGLRenderTarget(w, h);
    const scene = new THREE.Scene();
    scene.overrideMaterial = this.material;
    const parent = mesh.parent;
    scene.add(mesh);
    renderer.setRenderTarget(target);
    renderer.setClearColor(0xffffff, 1);
    renderer.clear();
    renderer.render(scene, camera);
    const bytes = new Uint8Array(4 * w * h);
    renderer.readRenderTargetPixels(target, 0, 0, w, h, bytes);
    renderer.setRenderTarget(null);
    renderer.setClearColor(0, 0);
    target.dispose();
    parent.add(mesh);
    return (x, y) => {
      const column = Math.min(w - 1, Math.floor((x / width) * w));
      const row = h - 1 - Math.min(h - 1, Math.floor((y / height) * h));
      const [r, g, b, a] = bytes.subarray(4 * (row * w + column));
      const share = unpacked(r, g, b, a);
      const { near, far } = camera;
      return (near * far) / (far - share * (far - near));
    };
  }
}

// The library packs the depth's coarsest eighth into red and finer ones after it.
function unpacked(r, g, b, a) {
  const up = 255 / 256;
  return (r / 255) * up + ((g / 255) * up) / 256 + ((b / 255) * up) / 65536 + a / 255 / 16777216;
}

function freeSpot({ x, y }, taken) {
  for (const ring of [24, 36, 50])
    for (const way of WAYS) {
      const [tx, ty] = [x + ring * Math.cos(way), y + ring * Math.sin(way)];
      if (taken.every(([ox, oy]) => Math.hypot(ox - tx, oy - ty) > 18)) return [tx, ty];
    }
  return [x + 24, y];
}
