// Residuals on viridis (van der Walt and Smith 2015), anchors every eighth; from memory.
const ANCHORS = ['#440154', '#472d7b', '#3b528b', '#2c728e', '#21918c', '#28ae80', '#5ec962', '#addc30', '#fde725'];

const channels = (hex: string): number[] => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16));

/** `share` 0…1, clamped. */
export function viridis(share: number): string {
  const at = Math.min(1, Math.max(0, share)) * (ANCHORS.length - 1);
  const low = Math.min(Math.floor(at), ANCHORS.length - 2);
  const from = channels(ANCHORS[low] ?? '#000000');
  const to = channels(ANCHORS[low + 1] ?? '#000000');
  return `rgb(${from.map((c, i) => Math.round(c + (at - low) * ((to[i] ?? c) - c))).join(',')})`;
}

export const WORST_PX = 2;
export const residualColour = (px: number): string => viridis(px / WORST_PX);
