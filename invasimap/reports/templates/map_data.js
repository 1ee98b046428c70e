// What the page holds, unpacked: words as texts, coordinates as whole steps from one place in Web Mercator.
var AROUND_M = 2 * Math.PI * 6378137;

function unpacked(name) {
  var text = atob(document.getElementById(name).textContent), bytes = new Uint8Array(text.length);
  for (var i = 0; i < text.length; i++) { bytes[i] = text.charCodeAt(i); }
  var stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).arrayBuffer();
}

function placed(layers, buffer) {
  var planes = new Uint8Array(buffer), size = planes.length / 4, at = 0;
  function sums(count) {
    var out = new Int32Array(count), sum = 0;
    for (var i = 0; i < count; i++, at++) {
      var v = planes[at] | planes[at + size] << 8 | planes[at + 2 * size] << 16 | planes[at + 3 * size] << 24;
      sum += v & 1 ? -(v >>> 1) - 1 : v >>> 1;
      out[i] = sum;
    }
    return out;
  }
  layers.forEach(function (layer) {
    layer.count = layer.kinds.length;
    layer.firstRing = starts(layer.parts);
    layer.firstPoint = starts(layer.points);
    layer.x = sums(layer.firstPoint[layer.points.length]);
    layer.y = sums(layer.x.length);
    layer.box = boxes(layer);
    layer.numbers = new Uint32Array(layer.count).map(function (_, i) { return i; });
  });
  return layers;
}

function starts(counts) {
  var out = new Uint32Array(counts.length + 1);
  for (var i = 0; i < counts.length; i++) { out[i + 1] = out[i] + counts[i]; }
  return out;
}

function boxes(layer) {
  var out = new Int32Array(4 * layer.count);
  for (var i = 0; i < layer.count; i++) {
    var left = 2e9, low = 2e9, right = -2e9, high = -2e9;
    var end = layer.firstPoint[layer.firstRing[i + 1]];
    for (var p = layer.firstPoint[layer.firstRing[i]]; p < end; p++) {
      left = Math.min(left, layer.x[p]); right = Math.max(right, layer.x[p]);
      low = Math.min(low, layer.y[p]); high = Math.max(high, layer.y[p]);
    }
    out.set([left, low, right, high], 4 * i);
  }
  return out;
}

function element(tag, name, text) {
  var made = document.createElement(tag);
  if (name) { made.className = name; }
  if (text !== undefined) { made.textContent = text; }
  return made;
}

// as in the tables: fixed decimals, thousands apart, and what is above nothing but rounds to it says so
function figure(value, decimals) {
  var least = Math.pow(10, -decimals);
  if (value === 0) { return "0"; }
  if (value > 0 && value < least / 2) { return "<" + least.toFixed(decimals); }
  return value.toLocaleString("en-US", { minimumFractionDigits: decimals, maximumFractionDigits: decimals });
}
function areaText(m2) { return figure(m2 * head.area_per_m2, 2) + " " + head.area_unit; }
function lengthText(m) {
  var value = m * head.length_per_m;
  return figure(value, value >= 100 ? 0 : 1) + " " + head.length_unit;
}
