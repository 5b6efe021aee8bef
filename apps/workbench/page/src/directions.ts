// Places of the sphere (longitude, latitude, degrees) as unit vectors: x right, y down, z ahead.
import type { Place, Turn } from './api';

export type Vector = [number, number, number];
export const rad = (deg: number): number => (deg * Math.PI) / 180;
export const deg = (angle: number): number => (angle * 180) / Math.PI;
export const dot = (a: Vector, b: Vector): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

export const direction = ([longitude, latitude]: Place): Vector => [
  Math.cos(rad(latitude)) * Math.sin(rad(longitude)),
  -Math.sin(rad(latitude)),
  Math.cos(rad(latitude)) * Math.cos(rad(longitude)),
];
/** Of a vector of any length. */
export const placeOf = ([x, y, z]: Vector): Place => [deg(Math.atan2(x, z)), deg(Math.atan2(-y, Math.hypot(x, z)))];

export function between_deg(a: Place, b: Place): number {
  const [p, q] = [direction(a), direction(b)];
  return 2 * deg(Math.asin(Math.min(1, Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]) / 2)));
}

/** Places along the great circle from one end to the other, both included. */
export function along([a, b]: [Place, Place], pieces = 24): Place[] {
  const [p, q] = [direction(a), direction(b)];
  const whole = rad(between_deg(a, b));
  return Array.from({ length: pieces + 1 }, (_, i): Place => {
    const [u, v] = whole === 0 ? [1, 0] : [Math.sin(whole * (1 - i / pieces)), Math.sin((whole * i) / pieces)];
    return placeOf([u * p[0] + v * q[0], u * p[1] + v * q[1], u * p[2] + v * q[2]]);
  });
}

export const UNTURNED: Turn = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
export const turned = (turn: Turn, d: Vector): Vector => [dot(turn[0], d), dot(turn[1], d), dot(turn[2], d)];
export const turnedBack = ([a, b, c]: Turn, [x, y, z]: Vector): Vector =>
  [a[0] * x + b[0] * y + c[0] * z, a[1] * x + b[1] * y + c[1] * z, a[2] * x + b[2] * y + c[2] * z];
