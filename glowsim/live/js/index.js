// What the stage is made of; three.js comes with the page's library.
export { GlowMesh } from "./glow_mesh.js";
export { BoardOutlines } from "./board_outlines.js";
export { HintCloud } from "./hint_cloud.js";
export { FindingMarks } from "./finding_marks.js";
export { PulsePlayer } from "./pulse_player.js";
export { Orbit } from "./orbit.js";
export { THREE } from "nicegui-scene";
