// Printing: what is on the screen, on one sheet of paper, drawn finer; then back as it was.
var before = null, PRINT_SHARP = 3;

function toPaper() {
  if (before) { return; }
  before = { center: map.getCenter(), zoom: map.getZoom(), bounds: map.getBounds(), snap: map.options.zoomSnap };
  document.body.classList.add("paper");
  map.options.zoomSnap = 0;
  ground.ratio = PRINT_SHARP;
  sayOnPaper();  // the words take their room first, the map what is left
  map.invalidateSize({ animate: false, pan: false });
  var seen = printed(before.bounds);
  map.setView(seen.getCenter(), map.getBoundsZoom(seen), { animate: false });
  ground.renew();
  sayOnPaper();
}

function sayOnPaper() {
  document.getElementById("paper-shown").textContent = document.getElementById("shown").textContent;
  document.getElementById("paper-scale").textContent = scaleText();
  var measured = corners.length > 1 ? "Measured: " + document.getElementById("measured").textContent + " " : "";
  document.getElementById("paper-made").textContent = measured + "Printed " + new Date().toLocaleDateString("en-CA") + ".";
}

// what is on the screen, less what of it lies beyond the tract: a tall screen would else print a small map
function printed(seen) {
  var tract = L.latLngBounds(head.corners);
  if (!seen.intersects(tract)) { return seen; }
  return L.latLngBounds(
    [Math.max(seen.getSouth(), tract.getSouth()), Math.max(seen.getWest(), tract.getWest())],
    [Math.min(seen.getNorth(), tract.getNorth()), Math.min(seen.getEast(), tract.getEast())]
  );
}

function toScreen() {
  if (!before) { return; }
  var was = before;
  before = null;
  document.body.classList.remove("paper");
  ground.ratio = 0;
  map.invalidateSize({ animate: false, pan: false });
  map.options.zoomSnap = was.snap;
  map.setView(was.center, was.zoom, { animate: false });
}

// one CSS px is 1/96 in on paper, if the printer keeps the size
function scaleText() {
  var many = metresPerPx() / (0.0254 / 96), power = Math.pow(10, Math.floor(Math.log10(many)) - 1);
  return "About 1:" + figure(Math.round(many / power) * power, 0) + " when printed at 100 %; the scale bar holds at any size.";
}

function startPrint() {
  document.getElementById("print").addEventListener("click", function () { window.print(); });
  window.addEventListener("beforeprint", toPaper);
  window.addEventListener("afterprint", toScreen);
  window.matchMedia("print").addEventListener("change", function (media) { if (media.matches) { toPaper(); } else { toScreen(); } });
}
