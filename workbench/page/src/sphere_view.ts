// Where places of the sphere lie on a flat look, as the server draws it (compose/flat_look.h).
import type { Place } from './api';

type Vector = [number, number, number];
const rad = (deg: number): number => (deg * Math.PI) / 180;
const deg = (angle: number): number => (angle * 180) / Math.PI;
const dot = (a: Vector, b: Vector): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

const direction = ([longitude, latitude]: Place): Vector => [
  Math.cos(rad(latitude)) * Math.sin(rad(longitude)),
  -Math.sin(rad(latitude)),
  Math.cos(rad(latitude)) * Math.cos(rad(longitude)),
];

const TALLEST_DEG = 90;
const LOWEST_DEG = 4;
const WIDEST_DEG = 135;

export class SphereView {
  middle: Place = [0, 0]; // longitude, latitude, degrees
  tall_deg = 40; // from top to bottom
  width = 1; // css px
  height = 1;

  turn(longitude_deg: number, latitude_deg: number): void {
    const [longitude, latitude] = this.middle;
    this.lookAt([longitude + longitude_deg, latitude + latitude_deg]);
  }

  lookAt([longitude, latitude]: Place): void {
    const turns = Math.round(longitude / 360);
    this.middle = [longitude - 360 * turns, Math.min(89.9, Math.max(-89.9, latitude))];
  }

  zoom(factor: number): void {
    const widest = 2 * deg(Math.atan((Math.tan(rad(WIDEST_DEG / 2)) * this.height) / this.width));
    this.tall_deg = Math.min(TALLEST_DEG, widest, Math.max(LOWEST_DEG, this.tall_deg / factor));
  }

  /** Pixels per unit of the plane one unit ahead. */
  focal(): number {
    return this.height / 2 / Math.tan(rad(this.tall_deg / 2));
  }

  wide_deg(): number {
    return 2 * deg(Math.atan(this.width / 2 / this.focal()));
  }

  /** Degrees that a drag of a pixel turns by. */
  deg_per_px(): number {
    return deg(1 / this.focal());
  }

  private axes(): { right: Vector; down: Vector; ahead: Vector } {
    const ahead = direction(this.middle);
    const right: Vector = [Math.cos(rad(this.middle[0])), 0, -Math.sin(rad(this.middle[0]))];
    const down: Vector = [
      ahead[1] * right[2] - ahead[2] * right[1],
      ahead[2] * right[0] - ahead[0] * right[2],
      ahead[0] * right[1] - ahead[1] * right[0],
    ];
    return { right, down, ahead };
  }

  /** Canvas px of a place; null behind the viewer. */
  screen(place: Place): Place | null {
    const { right, down, ahead } = this.axes();
    const d = direction(place);
    const depth = dot(d, ahead);
    if (depth < 0.05) return null;
    return [this.width / 2 + (this.focal() * dot(d, right)) / depth, this.height / 2 + (this.focal() * dot(d, down)) / depth];
  }

  /** The place under a canvas point. */
  place(x: number, y: number): Place {
    const { right, down, ahead } = this.axes();
    const [u, v] = [(x - this.width / 2) / this.focal(), (y - this.height / 2) / this.focal()];
    const [dx = 0, dy = 0, dz = 1] = ahead.map((a, i) => a + u * (right[i] ?? 0) + v * (down[i] ?? 0));
    return [deg(Math.atan2(dx, dz)), deg(Math.atan2(-dy, Math.hypot(dx, dz)))];
  }
}
