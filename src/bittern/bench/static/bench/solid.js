// The finished key as a solid to be turned: drawn only when somebody asks, the library is large.

const FIRST = [1.3, -0.4], KEY_TURN = 0.15, NEAR = 1.3;

const box = document.querySelector(".solid");
if (box) {
  box.hidden = false;
  const button = box.querySelector("[data-show]");
  const words = box.querySelector("[data-words]");
  const say = (text) => { words.textContent = text; words.hidden = false; };
  button.addEventListener("click", async () => {
    button.disabled = true;
    try {
      show(await import(box.dataset.library));
      button.hidden = true;
      say("Draw with a finger or the mouse, or use the arrow keys, to turn it.");
    } catch {
      button.disabled = false;
      say("This browser cannot draw it here. Download the solid instead.");
    }
  });
}

function show(three) {
  const data = JSON.parse(document.getElementById(box.dataset.solid).textContent);
  const canvas = document.createElement("canvas");
  canvas.tabIndex = 0;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", "The finished key, seen from the side");
  const context = canvas.getContext("webgl2", { antialias: true, alpha: true });
  if (!context) throw new Error("no way to draw solids");
  const renderer = new three.WebGLRenderer({ canvas, context });
  box.append(canvas);
  const shape = new three.BufferGeometry();
  shape.setAttribute("position", new three.Float32BufferAttribute(data.corners, 3));
  shape.setIndex(data.triangles);
  // Every face by itself: edges of cuts are sharp.
  const faces = shape.toNonIndexed();
  faces.computeVertexNormals();
  faces.center();
  faces.computeBoundingSphere();
  const key = new three.Mesh(faces, new three.MeshStandardMaterial({ color: 0xc9b684, metalness: 0.35, roughness: 0.45 }));
  const scene = new three.Scene();
  const light = new three.DirectionalLight(0xffffff, 2.4);
  light.position.set(20, 40, 60);
  scene.add(key, light, new three.HemisphereLight(0xffffff, 0x8a7f6a, 1.6));
  const camera = new three.PerspectiveCamera(30, 2, 1, 500);
  const radius = faces.boundingSphere.radius;
  let [tilt, turn] = FIRST;

  const paint = () => {
    const { clientWidth: width, clientHeight: height } = canvas;
    renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    renderer.setSize(width, height, false);
    camera.aspect = width / Math.max(height, 1);
    // The key is long and narrow: its length fills the width.
    const half = Math.tan((camera.fov * Math.PI) / 360) * camera.aspect;
    camera.position.set(0, 0, NEAR * radius * Math.max(1 / half, 1.2));
    camera.updateProjectionMatrix();
    key.rotation.set(tilt - Math.PI / 4, turn, 0);
    renderer.render(scene, camera);
  };
  let held = null;
  canvas.addEventListener("pointerdown", (event) => { held = [event.clientX, event.clientY]; canvas.setPointerCapture(event.pointerId); });
  canvas.addEventListener("pointerup", () => { held = null; });
  canvas.addEventListener("pointermove", (event) => {
    if (!held) return;
    turn += (event.clientX - held[0]) * 0.01;
    tilt += (event.clientY - held[1]) * 0.01;
    held = [event.clientX, event.clientY];
    paint();
  });
  const moves = { ArrowLeft: [0, -KEY_TURN], ArrowRight: [0, KEY_TURN], ArrowUp: [-KEY_TURN, 0], ArrowDown: [KEY_TURN, 0] };
  canvas.addEventListener("keydown", (event) => {
    if (!(event.key in moves)) return;
    event.preventDefault();
    tilt += moves[event.key][0];
    turn += moves[event.key][1];
    paint();
  });
  new ResizeObserver(paint).observe(canvas);
  paint();
}
