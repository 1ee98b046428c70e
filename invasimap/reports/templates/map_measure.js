// Measuring on the ellipsoid (WGS 84): lengths by the radii of curvature at each step, areas in an equal-area cylinder.
var AXIS_M = 6378137, FLAT = 1 / 298.257223563, ECC2 = FLAT * (2 - FLAT), ECC = Math.sqrt(ECC2);
var corners = [], drawnMeasure = [];

function radians(degrees) { return degrees * Math.PI / 180; }

function stepM(a, b) {
  var sin = Math.sin(radians((a.lat + b.lat) / 2)), w = 1 - ECC2 * sin * sin;
  var east = radians(b.lng - a.lng) * AXIS_M / Math.sqrt(w) * Math.sqrt(1 - sin * sin);
  var north = radians(b.lat - a.lat) * AXIS_M * (1 - ECC2) / Math.pow(w, 1.5);
  return Math.hypot(east, north);
}

function pathM(places) {
  return places.slice(1).reduce(function (sum, place, k) { return sum + stepM(places[k], place); }, 0);
}

// authalic height of a latitude, in m2 to the radian of longitude
function strip(lat) {
  var sin = Math.sin(radians(lat)), part = ECC * sin;
  return AXIS_M * AXIS_M * (1 - ECC2) / 2 * (sin / (1 - part * part) + Math.atanh(part) / ECC);
}

function enclosedM2(places) {
  if (places.length < 3) { return 0; }
  var foot = strip(places[0].lat), sum = 0;
  places.forEach(function (place, k) {
    var next = places[(k + 1) % places.length];
    sum += radians(next.lng - place.lng) * ((strip(place.lat) - foot) + (strip(next.lat) - foot)) / 2;
  });
  return Math.abs(sum);
}

function crossesItself(places) {
  var n = places.length;
  function side(a, b, c) { return Math.sign((b.lng - a.lng) * (c.lat - a.lat) - (b.lat - a.lat) * (c.lng - a.lng)); }
  for (var i = 0; i < n; i++) {
    for (var j = i + 2; j < n; j++) {
      if (i === 0 && j === n - 1) { continue; }
      var a = places[i], b = places[(i + 1) % n], c = places[j], d = places[(j + 1) % n];
      if (side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0) { return true; }
    }
  }
  return false;
}

function measuring() { return openPanel === "measure"; }
function measuresArea() { return document.getElementById("measure-area").checked; }

function addCorner(latlng) {
  corners.push(latlng);
  showMeasure();
}

function showMeasure() {
  drawnMeasure.forEach(function (shape) { shape.remove(); });
  var look = { color: head.colors.measure, weight: 3, fillOpacity: 0.15, interactive: false };
  drawnMeasure = [measuresArea() && corners.length > 2 ? L.polygon(corners, look) : L.polyline(corners, look)];
  corners.forEach(function (place) {
    drawnMeasure.push(L.circleMarker(place, { radius: 5, color: head.colors.measure, weight: 2, fillColor: head.colors.paper, fillOpacity: 1, interactive: false }));
  });
  drawnMeasure.forEach(function (shape) { shape.addTo(map); });
  sayMeasure();
}

function sayMeasure() {
  var said = document.getElementById("measured"), area = measuresArea(), closed = area && corners.length > 2;
  var long = pathM(closed ? corners.concat([corners[0]]) : corners), m2 = closed ? enclosedM2(corners) : 0;
  said.dataset.m = long;
  said.dataset.m2 = m2;
  var text = "Tap the map, corner by corner.";
  if (closed) {
    text = crossesItself(corners) ? "The outline crosses itself: no area. Take the last corner back."
      : areaText(m2) + "; " + lengthText(long) + " around.";
    if (crossesItself(corners)) { said.dataset.m2 = ""; }
  } else if (area && corners.length) {
    text = "An area takes three corners or more.";
  } else if (corners.length > 1) { text = lengthText(long) + (corners.length > 2 ? " in " + (corners.length - 1) + " legs." : "."); }
  said.textContent = text;
  document.getElementById("measure-undo").disabled = document.getElementById("measure-clear").disabled = !corners.length;
  sayFinger();
}

function sayFinger() {
  var middle = map.getSize().divideBy(2), a = map.containerPointToLatLng(middle), b = map.containerPointToLatLng(middle.add([8, 0]));
  document.getElementById("finger").textContent = "Level distance, as on a map. At this zoom a tap is good to about " +
    figure(Math.ceil(stepM(a, b) * head.length_per_m), 0) + " " + head.length_unit + "; zoom in for less.";
}

function startMeasure() {
  document.getElementById("measure-undo").addEventListener("click", function () { corners.pop(); showMeasure(); });
  document.getElementById("measure-clear").addEventListener("click", function () { corners = []; showMeasure(); });
  ["measure-line", "measure-area"].forEach(function (name) { document.getElementById(name).addEventListener("change", showMeasure); });
  map.on("zoomend", sayFinger);
  sayMeasure();
}
