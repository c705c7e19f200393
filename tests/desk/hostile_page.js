// What a page of another origin can try; returns what it got. DESK and PATHS are put in by the test.
(async () => {
  const got = [];
  const quietly = async (name, work) => { try { const value = await work(); if (value) got.push([name, value]); } catch {} };
  const forms = ["application/json", "text/plain"];
  for (const path of PATHS) {
    await quietly("read " + path, async () => (await fetch(DESK + path)).text());
    await quietly("read with token", async () => (await fetch(DESK + path, { headers: { "northlimb-desk": "x" } })).text());
    for (const type of forms)
      await quietly("write", async () => { const a = await fetch(DESK + path, { method: "POST", body: "{}", headers: { "content-type": type } }); return a.status; });
    await quietly("blind write", async () => { await fetch(DESK + path, { method: "POST", body: "{}", mode: "no-cors", credentials: "include" }); });
    await quietly("image", () => new Promise((done) => { const i = new Image(); i.onload = () => done("shown"); i.onerror = () => done(""); i.src = DESK + path; }));
    await quietly("script", () => new Promise((done) => { const s = document.createElement("script"); s.onload = () => done("run"); s.onerror = () => done(""); s.src = DESK + path; document.body.append(s); }));
  }
  await quietly("frame", () => new Promise((done) => { const f = document.createElement("iframe"); f.onload = () => { try { done(f.contentDocument && f.contentDocument.body.children.length ? "framed" : ""); } catch { done(""); } }; f.src = DESK + "/"; document.body.append(f); }));
  await quietly("channel", () => new Promise((done) => { const c = new BroadcastChannel("northlimb-desk"); c.onmessage = (e) => done(JSON.stringify(e.data)); c.postMessage({ asks: true }); setTimeout(() => done(""), 400); }));
  await quietly("storage", () => sessionStorage.getItem("desk-token") || document.cookie);
  return got;
})()
