// The boards as their true outlines, seen through the body, and which one a pointer means.
import { THREE } from "nicegui-scene";

const SIDES = 48;
const REACH_PX = 26;
const MADE_OF = ["round", "length", "width", "thick", "bore"];

export class BoardOutlines {
  constructor() {
    this.group = new THREE.Group();
    this.group.renderOrder = 2;
    this.boards = [];
    this.chosen = null;
  }

  set(boards) {
    const before = this.boards;
    this.boards = boards;
    const same = (one, other) => other && MADE_OF.every((part) => one[part] === other[part]);
    const alike = boards.length === before.length && boards.every((board, k) => same(board, before[k]));
    if (alike) boards.forEach((board, k) => (board.line = before[k].line));
    else this.make(boards);
    for (const board of boards) board.line.matrix.set(...board.frame);
    this.paint();
  }

  make(boards) {
    for (const line of this.group.children) {
      line.geometry.dispose();
      line.material.dispose();
      line.children[0].material.dispose();
    }
    this.group.clear();
    for (const board of boards) {
      const material = new THREE.LineBasicMaterial({ transparent: true, depthTest: false });
      board.line = new THREE.LineSegments(outline(board), material);
      board.line.matrixAutoUpdate = false;
      board.line.renderOrder = 2;
      // A dark line under the light one: it must be seen on bright foam and in the dark room.
      const under = new THREE.LineBasicMaterial({ color: 0, transparent: true, opacity: 0.55, depthTest: false });
      const shadow = new THREE.LineSegments(board.line.geometry, under);
      shadow.position.set(0.25, -0.25, -0.25);
      shadow.renderOrder = 1;
      board.line.add(shadow);
      this.group.add(board.line);
    }
  }

  // Of a strip along a path the piece that was pressed is the one in hand.
  choose(body, light, copy, piece = 0) {
    this.chosen = body === null ? null : { body, light, copy, piece };
    this.paint();
  }

  paint() {
    for (const board of this.boards) {
      const same = this.chosen && board.body === this.chosen.body && board.light === this.chosen.light;
      const this_one = same && board.copy === this.chosen.copy;
      // White is seen on a glowing body of any colour; the others are dimmer while one is in hand.
      board.line.material.color.set(this_one ? 0xffffff : same ? 0xffe9c4 : 0xdfe7ef);
      board.line.material.opacity = this_one ? 1 : !board.on ? 0.35 : this.chosen ? 0.55 : 0.85;
    }
  }

  get current() {
    const { body, light, copy, piece } = this.chosen ?? {};
    const mine = this.boards.filter((b) => b.body === body && b.light === light && b.copy === copy);
    return mine.find((b) => b.piece === piece) ?? mine[0];
  }

  place(board) {
    return new THREE.Vector3().setFromMatrixPosition(board.line.matrix);
  }

  moveTo(board, place) {
    board.line.matrix.setPosition(place);
  }

  // The board nearest to a pointer, within its outline or a finger's reach.
  under(x, y, camera, width, height) {
    let found = null;
    for (const board of this.boards) {
      const place = this.place(board);
      const seen = place.clone().project(camera);
      const edge = new THREE.Vector3(1, 0, 0).applyQuaternion(camera.quaternion);
      edge.multiplyScalar(Math.max(board.length, board.width) / 2).add(place).project(camera);
      const px = (p) => [((p.x + 1) / 2) * width, ((1 - p.y) / 2) * height];
      const [sx, sy] = px(seen);
      const reach = Math.max(REACH_PX, Math.abs(px(edge)[0] - sx));
      const away = Math.hypot(x - sx, y - sy);
      if (away <= reach && (!found || away < found.away - 2 || (away < found.away + 2 && seen.z < found.z)))
        found = { board, away, z: seen.z };
    }
    return found?.board ?? null;
  }
}

function outline(board) {
  const points = [];
  const ring = (shape, z) => {
    for (let k = 0; k < shape.length; k++) {
      const [a, b] = [shape[k], shape[(k + 1) % shape.length]];
      points.push(a[0], a[1], z, b[0], b[1], z);
    }
  };
  const circle = (radius) =>
    Array.from({ length: SIDES }, (_, k) => {
      const turn = (2 * Math.PI * k) / SIDES;
      return [radius * Math.cos(turn), radius * Math.sin(turn)];
    });
  const [l, w] = [board.length / 2, board.width / 2];
  const shapes = board.round ? [circle(l)] : [[[l, w], [-l, w], [-l, -w], [l, -w]]];
  if (board.bore > 0) shapes.push(circle(board.bore / 2));
  for (const shape of shapes) for (const z of [0, -board.thick]) ring(shape, z);
  const arrow = Math.max(6, 0.7 * w);
  points.push(0, 0, 0, 0, 0, arrow, 0, 0, arrow, 0.2 * arrow, 0, 0.75 * arrow);
  points.push(0, 0, arrow, -0.2 * arrow, 0, 0.75 * arrow);
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.Float32BufferAttribute(points, 3));
  return geometry;
}
