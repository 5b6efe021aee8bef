// Residuals on viridis (van der Walt and Smith 2015).
import COLOURS from 'scale-color-perceptual/hex/viridis.json';

/** `share` 0…1, clamped. */
export function viridis(share: number): string {
  const last = COLOURS.length - 1;
  return COLOURS[Math.round(Math.min(1, Math.max(0, share)) * last)] ?? '#000000';
}

export const WORST_PX = 2;
export const residualColour = (px: number): string => viridis(px / WORST_PX);
