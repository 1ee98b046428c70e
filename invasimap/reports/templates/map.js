// The page put together: panels, scale and north, the reader's own position.
var head = null, layers = [], ground = null, openPanel = "", shade = null;

function metresPerPx() {
  var middle = map.getSize().divideBy(2), a = map.containerPointToLatLng(middle.subtract([50, 0]));
  return stepM(a, map.containerPointToLatLng(middle.add([50, 0]))) / 100;
}

function startPanels() {
  document.querySelectorAll("#bar [data-panel]").forEach(function (button) {
    button.addEventListener("click", function () { open(openPanel === button.dataset.panel ? "" : button.dataset.panel); });
  });
  document.getElementById("tapped-close").addEventListener("click", function () { tell(null, null); });
  open(wideScreen() ? "show" : "");
}

function wideScreen() { return window.matchMedia("(min-width: 800px)").matches; }

function open(name) {
  openPanel = name;
  if (tapRing && name !== "tapped") { tapRing.remove(); tapRing = null; }
  document.querySelectorAll("#bar [data-panel]").forEach(function (button) {
    button.setAttribute("aria-expanded", String(button.dataset.panel === name));
  });
  document.querySelectorAll("#panel > div").forEach(function (part) { part.hidden = part.id !== name; });
  document.getElementById("panel").hidden = !name;
  map.getContainer().style.cursor = measuring() ? "crosshair" : "";
  if (measuring()) { map.doubleClickZoom.disable(); } else { map.doubleClickZoom.enable(); }
  map.invalidateSize({ animate: false });
}

// a bar of a round length in the tract's units, true at the middle of the map, and an arrow to true north
var Scale = L.Control.extend({
  options: { position: "bottomleft" },
  onAdd: function () {
    var box = element("div", "scale");
    this.bar = element("div", "scale-bar");
    this.words = element("span", "scale-words");
    box.appendChild(this.words);
    box.appendChild(this.bar);
    map.on("moveend resize", this.update, this);
    this.update();
    return box;
  },
  update: function () {
    var px = metresPerPx() * head.length_per_m, most = 130 * px, power = Math.pow(10, Math.floor(Math.log10(most)));
    var round = [5, 2, 1].find(function (step) { return step * power <= most; }) * power;
    this.bar.style.width = round / px + "px";
    this.words.textContent = figure(round, round < 1 ? 1 : 0) + " " + head.length_unit;
  }
});
var North = L.Control.extend({
  options: { position: "bottomright" },
  onAdd: function () {
    var box = element("div", "north");
    box.setAttribute("role", "img");
    box.setAttribute("aria-label", "True north is up");
    box.appendChild(document.getElementById("north-arrow").content.cloneNode(true));
    return box;
  }
});

// a line of text over the map, drawn only while it says something
var Note = L.Control.extend({
  options: { position: "topright" },
  onAdd: function () {
    this.box = element("div", "said");
    this.box.id = this.options.id;
    this.box.setAttribute("role", "status");
    return this.box;
  }
});
var dot = null, ring = null, hereNote = new Note({ id: "here-note" }).addTo(map);
function say(text, alarm) { hereNote.box.textContent = text; hereNote.box.classList.toggle("alarm", !!alarm); }
function toggleHere(button) {
  if (button.getAttribute("aria-pressed") === "true") {
    map.stopLocate();
    [dot, ring].forEach(function (layer) { if (layer) { layer.remove(); } });
    dot = ring = null;
    button.setAttribute("aria-pressed", "false");
    say("");
    return;
  }
  button.setAttribute("aria-pressed", "true");
  say("Looking for your position \u2026");
  map.locate({ watch: true, enableHighAccuracy: true, maximumAge: 5000 });
}
// The first position on the tract is shown from so near that patches have a form; after that only the reader zooms.
var NEAR_ZOOM = 18, nearOnce = false;
function goNear(found) {
  if (nearOnce || !L.latLngBounds(head.corners).pad(0.1).contains(found.latlng)) { map.panTo(found.latlng); return; }
  nearOnce = true;
  var widest = map.getBoundsZoom(ring.getBounds()); // of what the position may be off by, all is seen
  map.setView(found.latlng, Math.max(map.getZoom(), Math.min(NEAR_ZOOM, widest)), { animate: false });
}
map.on("locationfound", function (found) {
  if (!dot) {
    ring = L.circle(found.latlng, { radius: found.accuracy, color: head.colors.own, weight: 1, fillOpacity: 0.12, interactive: false }).addTo(map);
    dot = L.circleMarker(found.latlng, { radius: 8, color: head.colors.paper, weight: 3, fillColor: head.colors.own, fillOpacity: 1, interactive: false }).addTo(map);
    goNear(found);
  }
  dot.setLatLng(found.latlng);
  ring.setLatLng(found.latlng).setRadius(found.accuracy);
  var off = figure(Math.ceil(found.accuracy * head.length_per_m), 0) + " " + head.length_unit;
  var close = ground.under(found.latlng, found.accuracy / metresPerPx(), ["zone_no_spray"]).length > 0;
  say("Position good to about " + off + "." + (close ? " No-spray ground lies within that." : ""), close);
});
map.on("locationerror", function (error) { say("No position from this device: " + error.message); });

function start(words, shapes) {
  head = JSON.parse(new TextDecoder().decode(words));
  layers = placed(head.layers, shapes);
  map.eachLayer(function (layer) { if (layer instanceof L.ImageOverlay) { shade = layer; } });
  ground = new Ground(layers);
  new Note({ id: "credit", position: "bottomright" }).addTo(map);
  buildShow();
  startPanels();
  map.fitBounds(head.corners, { padding: [12, 12], animate: false });
  map.addLayer(ground);
  map.addControl(new Scale());
  map.addControl(new North());
  startMeasure();
  startPrint();
  var here = document.getElementById("here");
  here.addEventListener("click", function () { toggleHere(here); });
  window.fieldMap = { map: map, ground: ground, layers: layers, corners: head.corners };
  document.body.dataset.ready = "yes";
}

if (window.DecompressionStream) {
  Promise.all([unpacked("field-words"), unpacked("field-shapes")]).then(function (parts) { start(parts[0], parts[1]); });
} else {
  document.getElementById("shown").textContent = "This browser is too old to open the field map. Use a newer one, or report.html and the printed maps.";
  document.getElementById("panel").hidden = false;
}
