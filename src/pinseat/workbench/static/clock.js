// The plating clock: how long it has been on, how long it still takes, and a sound when it is due.

const at = (id) => document.getElementById(id);
let ticking;
let rung; // the entry it has rung for
export function clock() {
  clearInterval(ticking);
  const box = at("plating-clock");
  if (!box) return;
  const last = Date.parse(box.dataset.last), running = box.dataset.running === "yes";
  const left = box.dataset.left.split(" ").filter(Boolean).map(Number);
  const words = (h) => `${Math.floor(h)} h ${String(Math.floor((h % 1) * 60)).padStart(2, "0")} min`;
  const wall = (h) => new Date(Date.now() + h * 3.6e6).toLocaleString([], { weekday: "short", hour: "2-digit", minute: "2-digit" });
  const tick = () => {
    const gone = running ? (Date.now() - last) / 3.6e6 : 0;
    let text = `On for ${words(Number(box.dataset.on) + gone)}${running ? "" : ", standing still"}.`;
    if (left.length) {
      const [least, most] = [left[0] - gone, left.at(-1) - gone];
      const until = running && least > 0 ? `, ${wall(least)} to ${wall(most)}` : "";
      text += least > 0 ? ` ${words(least)} to ${words(most)} to go${until}.` : most > 0 ? " It may be done: look at it now." : " Time is up: switch off, and log it.";
      box.classList.toggle("due", least <= 0);
      if (running && least <= 0 && rung !== box.dataset.last) { rung = box.dataset.last; ring(); }
    }
    if (box.textContent !== text) box.textContent = text;
  };
  tick();
  ticking = setInterval(tick, 1000);
}

function ring() {
  const sound = new AudioContext();
  for (let i = 0; i < 6; i++) {
    const tone = sound.createOscillator(), loud = sound.createGain();
    tone.frequency.value = i % 2 ? 660 : 880;
    tone.connect(loud).connect(sound.destination);
    loud.gain.value = 0.2;
    tone.start(sound.currentTime + i * 0.35);
    tone.stop(sound.currentTime + i * 0.35 + 0.25);
  }
}
