// The server's calls; docs/workbench-api.md describes them.

export type Place = [number, number];
export type Range = 'open' | 'near' | 'far';

export interface Fit { parallax_px: number; sideways_px: number; sigmas: number; distance_m: number }
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
export interface StrokeView { id: number; wish: string; lens: number; reach_rad: number; on_pairs: (Place | null)[][] }
export interface VerticalView { id: number; ends_rad: [Place, Place]; on_sphere: [Place, Place] } // the second in degrees
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

const HEADER = 'Workbench-Token';
const KEPT = 'workbench-token';

/** The printed address leads here with a secret behind its #, which a browser tells no server; the tab
 * remembers it for a reload. Each call carries it: a cookie alone goes to every server of this machine. */
function takeToken(): string {
  const given = window.location.hash.slice(1);
  if (/^[0-9a-f]{64}$/.test(given)) {
    sessionStorage.setItem(KEPT, given);
    history.replaceState(null, '', window.location.pathname);
  }
  return sessionStorage.getItem(KEPT) ?? '';
}
const token = takeToken();

/** The answer, whatever it is made of; throws what the server says where it refuses. */
async function ask(path: string, request: RequestInit = {}): Promise<Response> {
  const headers = { ...(request.headers as Record<string, string> | undefined), [HEADER]: token };
  let response: Response;
  try {
    response = await fetch(path, { ...request, headers, credentials: 'same-origin' });
  } catch (fault) {
    if (request.signal?.aborted) throw fault;
    throw new Error('the workbench has stopped: start it again, the edits are kept');
  }
  if (response.ok) return response;
  const { error } = await response.json().catch(() => ({})) as { error?: string };
  throw new Error(error ?? `refused (${response.status})`);
}

async function call<T>(method: string, path: string, body?: unknown): Promise<T> {
  const request: RequestInit = { method };
  if (method === 'POST') {
    request.headers = { 'Content-Type': 'application/json' };
    request.body = JSON.stringify(body ?? {});
  }
  return (await ask(path, request)).json() as Promise<T>;
}

/** An <img> would not send the token. The picture is decoded and can be drawn. */
export async function picture(path: string, image = new Image()): Promise<HTMLImageElement> {
  const url = URL.createObjectURL(await (await ask(path)).blob());
  image.src = url;
  try {
    await image.decode();
  } finally {
    URL.revokeObjectURL(url);
  }
  return image;
}

/** Hears a stream of events until it ends or `signal` says so. */
export async function listen<T>(path: string, signal: AbortSignal, hear: (event: T) => void): Promise<void> {
  const reader = (await ask(path, { signal })).body?.pipeThrough(new TextDecoderStream()).getReader();
  let text = '';
  for (let piece = await reader?.read(); piece && !piece.done; piece = await reader?.read()) {
    text += piece.value;
    const events = text.split('\n\n');
    text = events.pop() ?? '';
    for (const event of events) if (event.startsWith('data: ')) hear(JSON.parse(event.slice(6)) as T);
  }
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
  checkEvents: '/api/check/events',
  startCheck: () => call<CheckStatus>('POST', '/api/check'),
  stopCheck: () => call<CheckStatus>('DELETE', '/api/check'),
  picture: (shot: number, version: number) => at(shot, `/picture?v=${version}`),
  strip: (shot: number, pair: number, lens: number, through: string, version: number) =>
    at(shot, `/strips/${pair}/${lens}/${through}?v=${version}`),
};
