// The desk's JSON interface (docs/desk.md). Problems are thrown as { status, text, hint }.

export async function call(method, path, body) {
  const options = { method };
  if (body instanceof Blob) options.body = body;
  else if (body !== undefined) options.body = JSON.stringify(body);
  let response;
  try {
    response = await fetch(path, options);
  } catch {
    throw { text: "The desk does not respond", hint: "if seatspan desk is no longer running, start it again and open its new address" };
  }
  const type = response.headers.get("Content-Type") ?? "";
  const content = type.startsWith("application/json") ? await response.json() : { text: await response.text(), hint: "" };
  if (!response.ok) throw { status: response.status, ...content };
  return content;
}

export const photos = () => call("GET", "/api/photos");
export const photo = (id) => call("GET", `/api/photos/${id}`);
export const upload = (file) => call("POST", `/api/photos?name=${encodeURIComponent(file.name)}`, file);
export const sample = () => call("POST", "/api/sample", {});
export const remove = (id) => call("DELETE", `/api/photos/${id}`);
export const edit = (id, edits) => call("PUT", `/api/photos/${id}/edits`, edits);
export const lenses = (id) => call("GET", `/api/photos/${id}/lenses`);
export const check = (id) => call("GET", `/api/photos/${id}/check`);
export const verdicts = (id) => call("GET", `/api/photos/${id}/verdicts`);
export const byHand = (id) => call("GET", `/api/photos/${id}/by-hand`);
export const keepByHand = (id, form) => call("PUT", `/api/photos/${id}/by-hand`, form);
export const keep = (id, replace) => call("POST", `/api/photos/${id}/keep`, { replace });
export const rider = () => call("GET", "/api/rider");
export const chooseRider = (form) => call("PUT", "/api/rider", form);
export const keepRider = (rider, replace) => call("POST", "/api/rider/keep", { rider, replace });
export const search = (query) => call("POST", "/api/shelf/search", query);
export const compare = (sheets) => call("POST", "/api/shelf/compare", { sheets });

const pictures = new Map();

/** An object URL of a photo's picture, whole or with its longer side reduced. Fetched once, kept while the page is open. */
export function picture(id, side = "") {
  const path = `/api/photos/${id}/picture${side && `?side=${side}`}`;
  if (!pictures.has(path)) {
    const fetched = fetch(path).then(async (response) => {
      if (!response.ok) throw await response.json();
      return URL.createObjectURL(await response.blob());
    });
    fetched.catch(() => pictures.delete(path));
    pictures.set(path, fetched);
  }
  return pictures.get(path);
}

/** Releases the pictures of a photo that was removed. */
export function releasePictures(id) {
  for (const [path, url] of pictures) {
    if (!path.startsWith(`/api/photos/${id}/`)) continue;
    pictures.delete(path);
    url.then(URL.revokeObjectURL, () => {});
  }
}
