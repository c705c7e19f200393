/* Adds to the browser's player: single frames, speed, keys, and the times of the pictures as buttons.
   Nothing starts by itself; a film loops only if the reader has not asked for reduced motion. */
"use strict";

(() => {
  const SPEEDS = [0.25, 0.5, 1, 2];
  const KEYS = _("Keys: P play or pause, B and N one frame back and forward, S and F slower and faster.");
  const reducedMotion = window.matchMedia("(prefers-reduced-motion: reduce)");

  function button(words, name, act) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = words;
    made.setAttribute("aria-label", name);
    made.addEventListener("click", act);
    return made;
  }

  function speedChoice(video) {
    const label = document.createElement("label");
    const choice = document.createElement("select");
    for (const speed of SPEEDS) choice.add(new Option(`${speed.toLocaleString(document.body.lang)}×`, String(speed)));
    choice.value = "1";
    choice.addEventListener("change", () => { video.playbackRate = Number(choice.value); });
    label.append(_("Speed"), " ", choice);
    return { label, choice };
  }

  function addControls(film) {
    const video = film.querySelector("video");
    const fps = Number(film.dataset.fps);
    const frames = Number(film.dataset.frames);
    const seek = (frame) => {
      const wanted = Math.min(Math.max(frame, 0), frames - 1);
      const go = () => { video.currentTime = (wanted + 0.5) / fps; };
      video.pause();
      if (video.readyState > 0) { go(); return; }
      video.preload = "metadata";
      video.addEventListener("loadedmetadata", go, { once: true });
      video.load();
    };
    const current = () => Math.min(Math.floor(video.currentTime * fps + 1e-3), frames - 1);
    const step = (by) => seek(current() + by);
    const toggle = () => { if (video.paused) video.play(); else video.pause(); };

    const play = button(_("Play"), _("Play or pause"), toggle);
    const { label, choice } = speedChoice(video);
    const position = document.createElement("span");
    position.className = "quiet";
    const update = () => {
      const frame = current() + 1;
      play.textContent = video.paused ? _("Play") : _("Pause");
      position.textContent = _("Frame {frame} of {frames}");
    };
    for (const event of ["play", "pause", "timeupdate", "seeked"]) video.addEventListener(event, update);
    const n = frames;
    position.textContent = ngettext("{n} frame", "{n} frames", n); // the poster is not one of them

    const bar = document.createElement("div");
    bar.className = "player-bar";
    bar.setAttribute("role", "group");
    const title = video.getAttribute("aria-label");
    bar.setAttribute("aria-label", _("Film controls: {title}"));
    bar.append(
      play,
      button("‹", _("One frame back"), () => step(-1)),
      button("›", _("One frame forward"), () => step(1)),
      label,
      position,
    );
    const hint = document.createElement("p");
    hint.className = "small";
    hint.textContent = KEYS;
    film.append(bar, hint);

    const pace = (by) => {
      choice.selectedIndex = Math.min(Math.max(choice.selectedIndex + by, 0), SPEEDS.length - 1);
      choice.dispatchEvent(new Event("change"));
    };
    const keys = { p: toggle, b: () => step(-1), n: () => step(1), s: () => pace(-1), f: () => pace(1) };
    film.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || event.target === choice) return;
      const act = keys[event.key.toLowerCase()];
      if (act) { event.preventDefault(); act(); }
    });

    const repeat = () => { video.loop = !reducedMotion.matches; };
    reducedMotion.addEventListener("change", repeat);
    repeat();

    const band = film.closest("section");
    for (const moment of band ? band.querySelectorAll("[data-frame]") : []) {
      const time = moment.textContent;
      const jump = button(time, _("Show the frame at {time}"), () => {
        seek(Number(moment.dataset.frame));
        film.scrollIntoView({ block: "nearest", behavior: reducedMotion.matches ? "auto" : "smooth" });
      });
      jump.className = "moment";
      moment.replaceChildren(jump);
    }
  }

  for (const film of document.querySelectorAll(".film-player")) addControls(film);
})();
