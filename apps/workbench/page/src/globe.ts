// The whole sphere on a WebGL canvas, coarse but at once, for while the viewer turns. Panorama axes
// (x right, y down, z ahead) become three.js' (x right, y up, −z ahead).
import { Matrix4, Mesh, MeshBasicMaterial, PerspectiveCamera, Scene, SphereGeometry, SRGBColorSpace, Texture, WebGLRenderer } from 'three';
import { picture } from './api';
import type { SphereView } from './sphere_view';

const RADIUS = 10;

export class Globe {
  private readonly scene = new Scene();
  private readonly camera = new PerspectiveCamera();
  private readonly material = new MeshBasicMaterial({ visible: false });
  private readonly mesh: Mesh;
  private shown = '';

  private constructor(private renderer: WebGLRenderer) {
    const geometry = new SphereGeometry(RADIUS, 96, 48);
    geometry.scale(-1, 1, 1); // seen from inside
    geometry.rotateY(-Math.PI / 2); // the middle of the panorama ahead
    this.mesh = new Mesh(geometry, this.material);
    this.scene.add(this.mesh);
    this.camera.rotation.order = 'YXZ';
  }

  /** Null where the browser has no WebGL. */
  static on(canvas: HTMLCanvasElement): Globe | null {
    try {
      return new Globe(new WebGLRenderer({ canvas, antialias: false }));
    } catch {
      return null;
    }
  }

  /** A picture of the whole sphere; `then` once it is there. */
  load(path: string, then: () => void): void {
    if (path === this.shown) return;
    this.shown = path;
    picture(path).then((image) => {
      if (path !== this.shown) return;
      const texture = new Texture(image);
      texture.colorSpace = SRGBColorSpace;
      texture.needsUpdate = true;
      this.material.map?.dispose();
      this.material.map = texture;
      this.material.visible = true;
      this.material.needsUpdate = true;
      then();
    }).catch(() => { if (path === this.shown) this.shown = ''; }); // asked for again with the next edit
  }

  draw(view: SphereView): void {
    const { camera, renderer } = this;
    renderer.setPixelRatio(window.devicePixelRatio || 1);
    renderer.setSize(view.width, view.height, false);
    camera.fov = view.tall_deg;
    camera.aspect = view.width / view.height;
    camera.rotation.set((view.middle[1] * Math.PI) / 180, (-view.middle[0] * Math.PI) / 180, 0);
    camera.updateProjectionMatrix();
    const [[a, b, c], [d, e, f], [g, h, i]] = view.level;
    this.mesh.setRotationFromMatrix(new Matrix4().set(a, -b, -c, 0, -d, e, f, 0, -g, h, i, 0, 0, 0, 0, 1));
    renderer.render(this.scene, camera);
  }
}
