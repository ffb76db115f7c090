// At the barrel: the clock counts on without the network, the cadence is heard and seen, the screen stays awake.
window.barrel = (() => {
  let state = null, sound = null, beats = 0, awake = null, timer = 0;
  const clock = s => { const t = Math.ceil(s); return Math.floor(t / 60) + ':' + String(t % 60).padStart(2, '0'); };
  const left = () => state.running ? Math.max(0, state.left - (performance.now() - state.at) / 1000) : state.left;
  function click(high) {
    if (!sound) return;
    const tone = sound.createOscillator(), gain = sound.createGain(), now = sound.currentTime;
    tone.frequency.value = high ? 880 : 440;
    gain.gain.setValueAtTime(0.25, now); gain.gain.exponentialRampToValueAtTime(0.001, now + 0.07);
    tone.connect(gain).connect(sound.destination); tone.start(now); tone.stop(now + 0.08);
  }
  const write = (place, text) => { if (place.textContent !== text) place.textContent = text; };
  function tick() {
    const shown = document.getElementById('minutes-left');
    if (!state || !shown) return;
    const seconds = left(), text = clock(seconds);
    write(shown, text);
    const gone = state.whole - seconds, due = Math.floor(gone * state.rate / 30);  // out and back
    if (state.running && state.rate && due !== beats) { beats = due; if (state.sound) click(due % 2 === 0); }
    const lamp = document.getElementById('beat-lamp');
    if (lamp) lamp.className = 'beatlamp ' + (state.running && state.flash && state.rate ? due % 2 ? 'back' : 'on' : '');
    const word = document.getElementById('reminder');
    if (word && state.reminders.length) write(word, state.reminders[Math.floor(gone / 8) % state.reminders.length]);
    if (state.running && seconds <= 0 && !state.rung) { state.rung = true; [0, 200, 400].forEach(t => setTimeout(() => click(true), t)); }
  }
  async function wake() {
    try { if (state && state.running && !awake && navigator.wakeLock) { awake = await navigator.wakeLock.request('screen'); awake.onrelease = () => { awake = null; }; } }
    catch (refused) { awake = null; }
  }
  document.addEventListener('visibilitychange', () => { if (!document.hidden) wake(); });
  document.addEventListener('pointerdown', () => { if (state && !sound) sound = new AudioContext(); });
  return { set(next) {
    state = { ...next, at: performance.now() };
    for (const drawing of document.querySelectorAll('.barrel svg.stroke')) {
      drawing.setCurrentTime(state.whole - state.left);  // where the clock is: it stays there through a pause or a reload
      state.running ? drawing.unpauseAnimations() : drawing.pauseAnimations();
    }
    if (!state.running && awake) awake.release();
    wake(); clearInterval(timer); timer = setInterval(tick, 40); tick();
    const note = document.getElementById('awake-note');
    if (note) note.hidden = 'wakeLock' in navigator;
  } };
})();
