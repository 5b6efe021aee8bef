// The server's calls; docs/workbench-api.md describes them.

export type Place = [number, number];
export type Range = 'open' | 'near' | 'far';

export interface Fit { along_px: number; across_px: number; sigmas: number; distance_m: number }
export interface ManualTie {
  range: Range;
  sigma_px: number;
  sights: { lens: number; px: Place }[];
}
export interface TieView {
  id: number;
  on: boolean;
  tie: ManualTie;
  pair: number | null;
  at_a?: Place | null;
  at_b?: Place | null;
  on_sphere: (Place | null)[]; // of each sight, by the touched rig: longitude, latitude, degrees
  before?: Fit;
  after?: Fit;
  used?: boolean;
  suspect?: boolean;
}
export interface PairView {
  lens_a: number;
  lens_b: number;
  width_px: number;
  height_px: number;
  px_per_rad: number;
  closed: boolean;
}
export interface StrokeView { wish: string; lens: number; reach_rad: number; on_pairs: (Place | null)[][] }
export interface VerticalView { ends_rad: [Place, Place]; on_sphere: [Place, Place] } // the second in degrees
/** Rows of the rotation from the panorama as the body stood to the upright one. */
export type Turn = [[number, number, number], [number, number, number], [number, number, number]];
export type Level = { tilt_deg: number; rms_lean_deg: number; levelled_from_rig: Turn } | { fault: string };
export interface ShotView {
  shot: number;
  name: string;
  pairs: PairView[];
  ties: TieView[];
  strokes: StrokeView[];
  verticals: VerticalView[];
  level: Level | null;
  touch: {
    rms_before_px: number;
    rms_after_px: number;
    moved_sigmas: number;
    contradicts_template: boolean;
    findings: string[];
    advice: string[];
    seam: { pair: number; x: number; before_px: number; after_px: number }[];
  };
  unsaved: boolean;
  can_undo: boolean;
  can_redo: boolean;
  recovered: number;
  note: string;
  added?: { id: number; ncc: number; refined: boolean; unsure: boolean };
}
export interface Check {
  score_px: number;
  findings: { kind: string; words: string; remedy: string }[];
  failure: string;
}
export interface ShotLine {
  name: string;
  has_file: boolean;
  has_edits: boolean;
  unsaved: boolean;
  check: Check | null;
}
export interface CheckStatus {
  state: 'idle' | 'working' | 'done' | 'cancelled';
  shot: number | null;
  name: string;
  stage: string;
  checked: number;
  count: number;
}
export interface SeamStatus {
  job: number;
  state: 'idle' | 'working' | 'done' | 'failed' | 'cancelled';
  stage: string;
  fraction: number;
  result: { pairs?: { pair: number; line: [number, number, number][] }[]; error?: string } | null;
}

async function call<T>(method: string, path: string, body?: unknown): Promise<T> {
  const request: RequestInit = { method, credentials: 'same-origin' };
  if (method === 'POST') {
    request.headers = { 'Content-Type': 'application/json' };
    request.body = JSON.stringify(body ?? {});
  }
  let response: Response;
  try {
    response = await fetch(path, request);
  } catch {
    throw new Error('the workbench has stopped: start it again, the edits are kept');
  }
  const answer = (await response.json()) as T & { error?: string };
  if (!response.ok) throw new Error(answer.error ?? `refused (${response.status})`);
  return answer;
}

const at = (shot: number, what: string): string => `/api/shots/${shot}${what}`;

export const api = {
  shots: () => call<{ shots: ShotLine[]; order: number[] }>('GET', '/api/shots'),
  view: (shot: number) => call<ShotView>('GET', at(shot, '')),
  step: (shot: number, what: 'undo' | 'redo' | 'save') => call<ShotView>('POST', at(shot, `/${what}`)),
  edit: (shot: number, edit: object) => call<ShotView>('POST', at(shot, '/edits'), edit),
  match: (shot: number, pair: number, lens: number, place: Place) =>
    call<ShotView>('POST', at(shot, '/match'), { pair, lens, at: place }),
  move: (shot: number, id: number, lens: number, place: Place) =>
    call<ShotView>('POST', at(shot, '/move'), { id, lens, at: place }),
  draw: (shot: number, pair: number, wish: string, lens: number, reach_px: number, path: Place[]) =>
    call<ShotView>('POST', at(shot, '/draw'), { pair, wish, lens, reach_px, path }),
  findSeam: (shot: number) => call<SeamStatus>('POST', at(shot, '/seam')),
  seam: () => call<SeamStatus>('GET', '/api/seam'),
  place: (shot: number, pair: number, place: Place) =>
    call<{ on_sphere: Place }>('POST', at(shot, '/place'), { pair, at: place }),
  look: (shot: number, through: string, middle: Place, field_deg: number, width: number, height: number, version: number) =>
    at(shot, `/look/${through}?longitude_deg=${middle[0]}&latitude_deg=${middle[1]}&field_deg=${field_deg}` +
      `&width=${width}&height=${height}&v=${version}`),
  sphere: (shot: number) => at(shot, '/sphere'),
  startCheck: () => call<CheckStatus>('POST', '/api/check'),
  stopCheck: () => call<CheckStatus>('DELETE', '/api/check'),
  picture: (shot: number, version: number) => at(shot, `/picture?v=${version}`),
  strip: (shot: number, pair: number, lens: number, through: string, version: number) =>
    at(shot, `/strips/${pair}/${lens}/${through}?v=${version}`),
};
