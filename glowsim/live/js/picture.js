// The picture itself. Smooth edges cost a processor that draws without a graphics card three times
// the time: there they come once the hand rests, and there the glow is drawn anew only when it has
// changed, and of its surface what is seen; what the hand moves is drawn over a copy of it.
import { THREE } from "nicegui-scene";
import { SeenTriangles } from "./seen_triangles.js";

const BY_PROCESSOR = /swiftshader|llvmpipe|software|basic render/i;
const REST_MS = 250;

export class Picture {
  constructor(canvas) {
    this.slow = BY_PROCESSOR.test(rendererName());
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: !this.slow, alpha: true });
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
    this.renderer.autoClear = false;
    this.ratio = Math.min(window.devicePixelRatio, 2);
    this.kept = null;
    this.seen = new SeenTriangles();
  }

  // glow: whether what glows, or the view of it, has changed; over: what is drawn over it; solid:
  // the surface in the scene, if it hides what lies behind it.
  draw(scene, over, camera, width, height, moving, glow, solid) {
    clearTimeout(this.resting);
    if (!this.slow) return void this.render(scene, over, camera, width, height, this.ratio);
    const size = this.kept && [this.kept.target.width, this.kept.target.height];
    if (glow || !size || size[0] !== width || size[1] !== height) this.keep(scene, camera, width, height, solid);
    this.render(this.kept.copy, over, camera, width, height, 1);
    if (!moving)
      this.resting = setTimeout(() => this.render(scene, over, camera, width, height, 2), REST_MS);
  }

  render(scene, over, camera, width, height, ratio) {
    this.renderer.setPixelRatio(ratio);
    this.renderer.setSize(width, height, false);
    this.renderer.clear();
    this.renderer.render(scene, camera);
    this.renderer.render(over, camera);
  }

  keep(scene, camera, width, height, solid) {
    this.kept ??= copied(new THREE.WebGLRenderTarget(1, 1, { magFilter: THREE.NearestFilter, minFilter: THREE.NearestFilter }));
    const { target } = this.kept;
    target.setSize(width, height);
    if (solid) return void this.seen.draw(this.renderer, scene, solid, camera, target);
    this.renderer.setRenderTarget(target);
    this.renderer.clear();
    this.renderer.render(scene, camera);
    this.renderer.setRenderTarget(null);
  }

  dispose() {
    clearTimeout(this.resting);
    this.kept?.target.dispose();
    this.renderer.dispose();
  }
}

// A picture that was kept, and a scene that shows just it, whatever the camera.
function copied(target) {
  const material = new THREE.ShaderMaterial({
    uniforms: { picture: { value: target.texture } },
    vertexShader: "varying vec2 at; void main() { at = uv; gl_Position = vec4(position.xy, 0.0, 1.0); }",
    fragmentShader: "uniform sampler2D picture; varying vec2 at; void main() { gl_FragColor = texture2D(picture, at); }",
    blending: THREE.NoBlending, depthTest: false, depthWrite: false,
  });
  const sheet = new THREE.Mesh(new THREE.PlaneGeometry(2, 2), material);
  sheet.frustumCulled = false;
  const copy = new THREE.Scene();
  copy.add(sheet);
  return { target, copy };
}

function rendererName() {
  const gl = document.createElement("canvas").getContext("webgl2");
  const told = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = told ? gl.getParameter(told.UNMASKED_RENDERER_WEBGL) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return String(name);
}
