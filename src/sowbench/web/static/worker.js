// The service worker. The book puts VERSION and SHELL before this: what a kept page is made of,
// and a mark that changes with any of it. Docs: docs/book.md, section 5.
const KEPT = `sowbench-${VERSION}`;
const QUICK_MS = 3000; // so long a kept page waits for the network before it is shown
const FRESH_MS = 10 * 60 * 1000; // a page kept less long ago is not kept again unasked
const OLD_MS = 7 * 24 * 3600 * 1000; // a page kept longer ago is dropped
const AT = "x-kept-at";
const IS_PAGE = [/^\/today(\/[\d-]+)?$/, /^\/count$/, /^\/sowings\/.+\/trays\/\d+$/];

const isPage = (path) => IS_PAGE.some((each) => each.test(path));
const keyOf = (path) => new Request(location.origin + path);

self.addEventListener("install", (event) => {
  event.waitUntil(
    (async () => {
      const cache = await caches.open(KEPT);
      await Promise.all(
        SHELL.map(async (address) => {
          const answer = await fetch(address, { cache: "reload" });
          if (answer.ok) await cache.put(address, answer);
        }),
      );
      await self.skipWaiting();
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const old = (await caches.keys()).filter((name) => name.startsWith("sowbench-") && name !== KEPT);
      const paths = [];
      for (const name of old) {
        for (const request of await (await caches.open(name)).keys()) {
          const { pathname } = new URL(request.url);
          if (isPage(pathname)) paths.push(pathname);
        }
      }
      await self.clients.claim();
      // Pages of the old version are asked for anew; a kept one whose files are gone is no use.
      await keep(paths, true);
      await Promise.all(old.map((name) => caches.delete(name)));
    })(),
  );
});

self.addEventListener("message", (event) => {
  if (Array.isArray(event.data?.keep)) event.waitUntil(keep(event.data.keep, event.data.anew === true));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(request, url));
  else if (request.mode === "navigate") event.respondWith(page(event, request, url));
});

// A file under the address of its content never changes; others come from the network first.
async function file(request, url) {
  const cache = await caches.open(KEPT);
  const kept = await cache.match(request.url);
  if (kept && url.searchParams.has("v")) return kept;
  try {
    return await fetch(request);
  } catch (error) {
    const other = kept || (await cache.match(request.url, { ignoreSearch: true }));
    if (other) return other;
    throw error;
  }
}

async function page(event, request, url) {
  const cache = await caches.open(KEPT);
  const path = url.pathname === "/" ? "/today" : url.pathname;
  const kept = isPage(path) ? await cache.match(keyOf(path)) : undefined;
  const asked = (async () => {
    const answer = await fetch(request);
    if (isPage(url.pathname)) await put(cache, url.pathname, answer.clone());
    return answer;
  })();
  event.waitUntil(asked.catch(() => undefined));
  try {
    const answer = kept ? await Promise.race([asked, after(QUICK_MS)]) : await asked;
    const isAway = !answer || [502, 503, 504].includes(answer.status);
    return isAway && kept ? withTime(kept) : answer;
  } catch {
    return kept ? withTime(kept) : notKept(cache);
  }
}

const after = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

// Only whole pages that are right are kept: no error, nothing that was sent elsewhere.
async function put(cache, path, answer) {
  const type = answer.headers.get("content-type") || "";
  if (answer.status !== 200 || answer.redirected || answer.type === "opaqueredirect") return;
  if (!type.startsWith("text/html")) return;
  const headers = new Headers(answer.headers);
  headers.set(AT, new Date().toISOString());
  for (const name of ["content-length", "content-encoding", "set-cookie"]) headers.delete(name);
  await cache.put(keyOf(path), new Response(await answer.text(), { headers }));
}

// The page itself learns when it was kept.
async function withTime(kept) {
  const at = kept.headers.get(AT) || "";
  const text = (await kept.text()).replace("<html", `<html data-kept-at="${at}"`);
  return new Response(text, { headers: kept.headers });
}

async function keep(paths, anew) {
  const cache = await caches.open(KEPT);
  const wanted = [...new Set(paths)].filter((path) => typeof path === "string" && isPage(path));
  const ask = async (path) => {
    const kept = await cache.match(keyOf(path));
    const at = kept ? Date.parse(kept.headers.get(AT)) : 0;
    if (!anew && Date.now() - at < FRESH_MS) return;
    try {
      const answer = await fetch(path, { headers: { Accept: "text/html" }, cache: "no-store" });
      await put(cache, path, answer);
    } catch {
      // Away: what is kept stays.
    }
  };
  const rest = wanted.slice();
  const hand = async () => {
    for (let path = rest.shift(); path !== undefined; path = rest.shift()) await ask(path);
  };
  await Promise.all([hand(), hand(), hand()]);
  for (const request of await cache.keys()) {
    if (!isPage(new URL(request.url).pathname)) continue;
    const kept = await cache.match(request);
    if (kept && Date.now() - Date.parse(kept.headers.get(AT)) > OLD_MS) await cache.delete(request);
  }
}

// What is shown where nothing was kept: what there is instead.
async function notKept(cache) {
  const paths = (await cache.keys()).map((each) => new URL(each.url).pathname).filter(isPage);
  const style = SHELL.find((each) => each.startsWith("/static/look.css")) || "";
  const escape = (text) => text.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`);
  const name = (path) => {
    const tray = /^\/sowings\/(.+)\/trays\/(\d+)$/.exec(path);
    if (tray) return `${decodeURIComponent(tray[1])}, tray ${tray[2]}`;
    return path === "/count" ? "What can be counted" : path === "/today" ? "Today's work" : `Work of ${path.slice(7)}`;
  };
  const links = paths
    .sort()
    .map((path) => `<li><a class="big" href="${escape(path)}">${escape(name(path))}</a></li>`)
    .join("");
  const body =
    '<!doctype html><html lang="en"><head><meta charset="utf-8">' +
    '<meta name="viewport" content="width=device-width, initial-scale=1">' +
    `<title>No connection</title><link rel="stylesheet" href="${escape(style)}"></head>` +
    '<body><main id="main"><h1>No connection, and this page is not kept here</h1>' +
    "<p>What you have entered is kept on this device and is sent when the book answers again.</p>" +
    (links ? `<p>These pages are kept:</p><ul class="steps">${links}</ul>` : "") +
    "</main></body></html>";
  return new Response(body, {
    status: 503,
    headers: {
      "Content-Type": "text/html; charset=utf-8",
      "Content-Security-Policy": "default-src 'none'; style-src 'self'; font-src 'self'; base-uri 'none'",
    },
  });
}
