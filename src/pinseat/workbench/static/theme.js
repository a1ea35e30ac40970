// Light or dark before anything is painted: what the person chose last, else what the system says.
(() => {
  const held = localStorage.getItem("pinseat-light");
  const dark = held ? held === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  document.documentElement.dataset.light = dark ? "dark" : "light";
})();
