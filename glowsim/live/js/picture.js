// The picture itself. Smooth edges cost a processor that draws without a graphics card three times
// the time: there they come once the hand rests.
import { THREE } from "nicegui-scene";

const BY_PROCESSOR = /swiftshader|llvmpipe|software|basic render/i;
const REST_MS = 250;

export class Picture {
  constructor(canvas) {
    this.slow = BY_PROCESSOR.test(rendererName());
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: !this.slow, alpha: true });
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
    this.ratio = Math.min(window.devicePixelRatio, 2);
  }

  draw(scene, camera, width, height, moving) {
    clearTimeout(this.resting);
    this.render(scene, camera, width, height, this.slow ? 1 : this.ratio);
    if (this.slow && !moving)
      this.resting = setTimeout(() => this.render(scene, camera, width, height, 2), REST_MS);
  }

  render(scene, camera, width, height, ratio) {
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(width, height, false);
    this.renderer.render(scene, camera);
  }

  dispose() {
    clearTimeout(this.resting);
    this.renderer.dispose();
  }
}

function rendererName() {
  const gl = document.createElement("canvas").getContext("webgl2");
  const told = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = told ? gl.getParameter(told.UNMASKED_RENDERER_WEBGL) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return String(name);
}
