// What a tap says: patches first, then what holds for the spot itself. Every text is set as text, never as markup.
var FINGER_PX = 12, MOST = 6, tapRing = null;

map.on("click", function (event) {
  if (measuring()) { addCorner(event.latlng); return; }
  tell(event.latlng, spotFacts(event.latlng));
});

// in the panel, where nothing of the map is covered; closed, the panel shows what it showed before
var shownBefore = "";
function tell(latlng, body) {
  if (tapRing) { tapRing.remove(); tapRing = null; }
  if (!body) { if (openPanel === "tapped") { open(shownBefore); } return; }
  if (openPanel !== "tapped") { shownBefore = openPanel; }
  document.getElementById("tapped-facts").replaceChildren(body);
  open("tapped");
  document.getElementById("panel").scrollTop = 0;
  tapRing = L.circleMarker(latlng, { radius: 17, color: head.colors.paper, weight: 4, fill: false, interactive: false, className: "tap-ring" }).addTo(map);
  map.panInside(latlng, { padding: [60, 60], animate: false });
}

var waiting = false;
map.on("mousemove", function (event) {
  if (waiting) { return; }
  waiting = true;
  requestAnimationFrame(function () {
    waiting = false;
    var hit = !measuring() && ground.under(event.latlng, 4).some(function (found) { return found.layer.titles.length; });
    map.getContainer().style.cursor = measuring() ? "crosshair" : hit ? "pointer" : "";
  });
});

function spotFacts(latlng) {
  var found = ground.under(latlng, FINGER_PX), box = element("div", "facts");
  function of(names, within) { return found.filter(function (hit) { return names.indexOf(hit.layer.name) >= 0 && hit.px <= within; }); }
  nearestPatches(of(["patches"], FINGER_PX)).forEach(function (hit) { box.appendChild(section(hit)); });
  of(["entries", "parking", "crossings", "set_aside", "feature_places"], FINGER_PX).forEach(function (hit) { box.appendChild(section(hit)); });
  of(["faces"], 0).slice(0, 1).forEach(function (hit) { box.appendChild(faceFacts(hit)); });
  of(["zone_no_spray", "zone_hand_only"], 0).forEach(function (hit) { box.appendChild(section(hit)); });
  of(["features", "ways", "barriers"], FINGER_PX / 2).forEach(function (hit) { box.appendChild(section(hit)); });
  of(["access", "open_ground", "wet_ground"], 0).forEach(function (hit) { box.appendChild(section(hit)); });
  var said = new Set();
  [].slice.call(box.childNodes).forEach(function (part) {
    if (said.has(part.textContent)) { part.remove(); }
    said.add(part.textContent);
  });
  if (!box.childNodes.length) { return null; }
  box.appendChild(element("p", "quiet", "Here: " + latlng.lat.toFixed(5) + ", " + latlng.lng.toFixed(5)));
  return box;
}

// those under the finger; where there is none, the nearest
function nearestPatches(hits) {
  var exact = hits.filter(function (hit) { return hit.px === 0; });
  if (exact.length) { return exact.slice(0, MOST); }
  return hits.sort(function (a, b) { return a.px - b.px; }).slice(0, 1);
}

function section(hit) {
  var layer = hit.layer, box = element("section", hit.layer.name), words = (layer.titles[hit.i] || "").split("\n");
  var title = element("h3", "", words[0] || words[1] || "");
  if (words[0] && words[1]) { title.appendChild(element("i", "", words[1])); }
  if (!words[0]) { title.classList.add("latin"); }
  box.appendChild(title);
  box.appendChild(pairs(layer.terms, layer.rows[hit.i] || []));
  return box;
}

function faceFacts(hit) {
  var layer = hit.layer, box = element("section", "faces");
  var zone = layer.treatment_rows[layer.treatment[hit.i]] || ["", "", ""];
  box.appendChild(element("h3", "", "This spot: " + layer.outcomes[layer.look[hit.i]]));
  box.appendChild(pairs(["allowed", "reached by", "treatment zone", "its area", "stand"], [
    head.groups.zone[layer.zone[hit.i]].said, head.groups.access[layer.access[hit.i]].said, zone[0], zone[2], zone[1]
  ]));
  return box;
}

function pairs(terms, texts) {
  var list = element("dl");
  terms.forEach(function (term, k) {
    if (!texts[k]) { return; }
    list.appendChild(element("dt", "", term));
    list.appendChild(element("dd", "", texts[k]));
  });
  return list;
}
