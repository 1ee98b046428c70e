(function () {
  "use strict";
  var map = MAP_NAME;
  if (window.matchMedia("(min-width: 900px)").matches) {
    document.querySelector("#notes details").open = true;
    map.fitBounds(TRACT_CORNERS, { paddingTopLeft: [350, 20], paddingBottomRight: [20, 20], animate: false });
  }
  ["#notes", "#title"].forEach(function (name) {
    var box = document.querySelector(name);
    L.DomEvent.disableClickPropagation(box);
    L.DomEvent.disableScrollPropagation(box);
  });

  // a layer that is switched on would lie over all others: put every shape back in the order it was made in
  map.on("overlayadd", function () {
    var shapes = [];
    map.eachLayer(function (layer) { if (layer instanceof L.Path) { shapes.push(layer); } });
    shapes.sort(function (a, b) { return L.stamp(a) - L.stamp(b); });
    shapes.forEach(function (shape) { shape.bringToFront(); });
  });

  var dot = null, ring = null, note = null;
  var Here = L.Control.extend({
    options: { position: "topleft" },
    onAdd: function () {
      var box = L.DomUtil.create("div", "leaflet-bar");
      var button = L.DomUtil.create("button", "here", box);
      button.type = "button";
      button.textContent = "\u25CE";
      button.title = "Show where I am";
      button.setAttribute("aria-label", "Show where I am");
      button.setAttribute("aria-pressed", "false");
      L.DomEvent.disableClickPropagation(box);
      L.DomEvent.on(button, "click", function () { toggle(button); });
      return box;
    }
  });
  map.addControl(new Here());

  function say(text) {
    if (note) { note.remove(); note = null; }
    if (!text) { return; }
    var Note = L.Control.extend({
      options: { position: "topleft" },
      onAdd: function () {
        var box = L.DomUtil.create("div", "here-note");
        box.setAttribute("role", "status");
        box.textContent = text;
        return box;
      }
    });
    note = new Note();
    map.addControl(note);
  }

  function toggle(button) {
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

  map.on("locationfound", function (found) {
    if (!dot) {
      ring = L.circle(found.latlng, { radius: found.accuracy, color: "#12427d", weight: 1, fillOpacity: 0.12, interactive: false });
      dot = L.circleMarker(found.latlng, { radius: 7, color: "#fff", weight: 2, fillColor: "#12427d", fillOpacity: 1, interactive: false });
      ring.addTo(map);
      dot.addTo(map);
      map.panTo(found.latlng);
    }
    dot.setLatLng(found.latlng);
    ring.setLatLng(found.latlng).setRadius(found.accuracy);
    say("Position good to about " + Math.ceil(found.accuracy * PER_METRE) + " " + "LENGTH_UNIT");
  });
  map.on("locationerror", function (error) {
    say("No position from this device: " + error.message);
  });
})();
