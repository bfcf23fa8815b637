// Where light would help: a plus where more of it does, a minus where less of it does.
import { THREE } from "nicegui-scene";

const LEAST = 0.12;

export class HintCloud {
  constructor() {
    this.group = new THREE.Group();
  }

  set(marks) {
    for (const points of this.group.children) {
      points.geometry.dispose();
      points.material.map.dispose();
      points.material.dispose();
    }
    this.group.clear();
    if (!marks) return;
    this.group.add(cloud(marks, 1, "#fff0c2"), cloud(marks, -1, "#d9c2ff"));
  }
}

function cloud(marks, sign, colour) {
  const places = [];
  const colours = [];
  const base = new THREE.Color(colour);
  marks.effect.forEach((effect, k) => {
    if (sign * effect < LEAST) return;
    places.push(...marks.points.slice(3 * k, 3 * k + 3));
    colours.push(base.r, base.g, base.b, Math.min(1, 0.15 + 0.85 * Math.abs(effect)));
  });
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.Float32BufferAttribute(places, 3));
  geometry.setAttribute("color", new THREE.Float32BufferAttribute(colours, 4));
  const material = new THREE.PointsMaterial({
    size: 9, sizeAttenuation: false, map: sign > 0 ? drawn("+") : drawn("-"), vertexColors: true,
    transparent: true, depthTest: false, depthWrite: false,
  });
  const points = new THREE.Points(geometry, material);
  points.renderOrder = 3;
  points.frustumCulled = false;
  return points;
}

function drawn(sign) {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 32;
  const pen = canvas.getContext("2d");
  pen.lineWidth = 7;
  pen.strokeStyle = "#fff";
  pen.beginPath();
  pen.moveTo(3, 16);
  pen.lineTo(29, 16);
  if (sign === "+") {
    pen.moveTo(16, 3);
    pen.lineTo(16, 29);
  }
  pen.stroke();
  return new THREE.CanvasTexture(canvas);
}
