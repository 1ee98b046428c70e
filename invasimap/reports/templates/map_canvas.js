// All shapes on one canvas, drawn anew after every move: whatever the number of patches, nothing else is kept per shape.
var TILE = 8, CHUNK = 150;

var Ground = L.Renderer.extend({
  initialize: function (layers) {
    L.setOptions(this, { padding: 0.2 });
    L.stamp(this);
    this._layers = {};
    this.layers = layers;
    this.drawn = {};
    this.tiles = new Map();
    this.ratio = 0;
  },
  _initContainer: function () {
    this._container = element("canvas");
    this._ctx = this._container.getContext("2d");
  },
  // a canvas that was never emptied: what was emptied since the last frame is printed white over all that lies beneath
  renew: function () {
    var old = this._container, canvas = old.cloneNode(false);
    old.replaceWith(canvas);
    this._container = canvas;
    this._ctx = canvas.getContext("2d");
    this.fresh = true;
    this.paint();
  },
  _destroyContainer: function () { L.DomUtil.remove(this._container); delete this._container; },
  _updatePaths: function () {},
  _update: function () {
    if (this._map._animatingZoom && this._bounds) { return; }
    L.Renderer.prototype._update.call(this);
    var size = this._bounds.getSize(), canvas = this._container;
    L.DomUtil.setPosition(canvas, this._bounds.min);
    canvas.style.width = size.x + "px";
    canvas.style.height = size.y + "px";
    this.paint();
  },
  sharp: function () { return this.ratio || Math.min(window.devicePixelRatio || 1, 3); },

  // steps to px of the canvas: x * scale + left, top - y * scale
  view: function () {
    var world = 256 * Math.pow(2, this._map.getZoom()), corner = this._bounds.min.add(this._map.getPixelOrigin());
    return {
      scale: head.step * world / AROUND_M,
      left: (head.origin[0] / AROUND_M + 0.5) * world - corner.x,
      top: (0.5 - head.origin[1] / AROUND_M) * world - corner.y
    };
  },
  paint: function () {
    var ctx = this._ctx, sharp = this.sharp(), size = this._bounds.getSize(), self = this;
    var view = this.view();
    view.width = size.x; view.height = size.y;
    var wide = Math.round(size.x * sharp), high = Math.round(size.y * sharp);
    if (this.fresh && this._container.width === wide && this._container.height === high) { this.fresh = false; } else {
      this._container.width = wide;
      this._container.height = high;
    }
    ctx.setTransform(sharp, 0, 0, sharp, 0, 0);
    this.taken = [];
    this.drawn = {};
    this.layers.forEach(function (layer) {
      self.drawn[layer.name] = layer.on ? self.paintLayer(ctx, layer, view) : 0;
    });
    this.layers.forEach(function (layer) { if (layer.on) { self.names(ctx, layer, view); } });
    this.fire("painted");
  },
  paintLayer: function (ctx, layer, view) {
    var shown = this.inView(layer, view), many = layer.count > 3000, self = this;
    layer.looks.forEach(function (look, k) {
      var mine = layer.look.length ? shown.filter(function (i) { return layer.look[i] === k; }) : (k ? [] : shown);
      if (!mine.length) { return; }
      var spots = mine.filter(function (i) { return layer.kinds[i] === 0; });
      var rest = spots.length ? mine.filter(function (i) { return layer.kinds[i] > 0; }) : mine;
      if (look.dots) { rest = self.dots(ctx, layer, rest, look, view, many); }
      for (var from = 0; from < rest.length; from += CHUNK) {
        self.shapes(ctx, layer, rest.slice(from, from + CHUNK), look, view);
      }
      self.spots(ctx, layer, spots, look, view);
    });
    return shown.length;
  },
  inView: function (layer, view) {
    var box = layer.box, edge = 20, found = [];
    var left = (-edge - view.left) / view.scale, right = (view.width + edge - view.left) / view.scale;
    var high = (view.top + edge) / view.scale, low = (view.top - view.height - edge) / view.scale;
    for (var i = 0; i < layer.count; i++) {
      if (layer.hidden && layer.hidden[i]) { continue; }
      if (box[4 * i] <= right && box[4 * i + 2] >= left && box[4 * i + 1] <= high && box[4 * i + 3] >= low) { found.push(i); }
    }
    return found;
  },
  // patches too small to see as shapes become marks; gives back the others
  dots: function (ctx, layer, list, look, view, many) {
    var left = [], box = layer.box, px = many ? 3 : look.size, form = markPath(look, px), marks = new Path2D();
    list.forEach(function (i) {
      var wide = (box[4 * i + 2] - box[4 * i]) * view.scale, high = (box[4 * i + 3] - box[4 * i + 1]) * view.scale;
      if (Math.max(wide, high) >= px) { left.push(i); return; }
      var x = (box[4 * i] + box[4 * i + 2]) / 2 * view.scale + view.left;
      var y = view.top - (box[4 * i + 1] + box[4 * i + 3]) / 2 * view.scale;
      if (many) { marks.rect(x - px / 2, y - px / 2, px, px); } else { marks.addPath(form, new DOMMatrix([1, 0, 0, 1, x, y])); }
    });
    ctx.setLineDash([]);
    fillMarks(ctx, marks, many ? { fill: look.fill } : look);
    return left;
  },
  shapes: function (ctx, layer, list, look, view) {
    var areas = look.fill && !look.dots ? list.filter(function (i) { return layer.kinds[i] === 2; }) : [];
    if (areas.length) {
      ctx.beginPath();
      areas.forEach(function (i) { trace(ctx, layer, i, view); });
      ctx.globalAlpha = look.hatch ? 1 : look.alpha;
      ctx.fillStyle = look.hatch ? this.hatch(ctx, look) : look.fill;
      ctx.fill();
      ctx.globalAlpha = 1;
    }
    if (areas.length < list.length) {  // lines have no inside: a bend must not be filled
      ctx.beginPath();
      list.forEach(function (i) { trace(ctx, layer, i, view); });
    }
    ctx.lineJoin = "round";
    if (look.casing) { stroke(ctx, look.casing, look.casing_width, []); }
    if (look.edge && look.width) { stroke(ctx, look.edge, look.width, look.dash || []); }
    if (look.ticks) { ticks(ctx, layer, list, look, view); }
  },
  spots: function (ctx, layer, list, look, view) {
    if (!list.length) { return; }
    var form = markPath(look, look.size), marks = new Path2D();
    list.forEach(function (i) {
      for (var r = layer.firstRing[i]; r < layer.firstRing[i + 1]; r++) {
        var p = layer.firstPoint[r];
        marks.addPath(form, new DOMMatrix([1, 0, 0, 1, layer.x[p] * view.scale + view.left, view.top - layer.y[p] * view.scale]));
      }
    });
    fillMarks(ctx, marks, look);
  },
  // the hatch stays on the ground while the canvas moves under it
  hatch: function (ctx, look) {
    var sharp = this.sharp(), key = look.fill + look.alpha + look.hatch.path + sharp, tile = this.tiles.get(key);
    if (!tile) {
      tile = element("canvas");
      tile.width = tile.height = Math.round(TILE * sharp);
      var pen = tile.getContext("2d"), path = new Path2D(look.hatch.path);
      pen.scale(tile.width / TILE, tile.width / TILE);
      pen.globalAlpha = look.alpha;
      pen.fillStyle = look.fill;
      pen.fillRect(0, 0, TILE, TILE);
      pen.globalAlpha = 1;
      pen.fillStyle = pen.strokeStyle = look.hatch.color;
      pen.lineWidth = look.hatch.weight;
      if (look.hatch.filled) { pen.fill(path); } else { pen.stroke(path); }
      this.tiles.set(key, tile);
    }
    var made = ctx.createPattern(tile, "repeat"), corner = this._bounds.min.add(this._map.getPixelOrigin());
    made.setTransform(new DOMMatrix([TILE / tile.width, 0, 0, TILE / tile.width, -(corner.x % TILE), -(corner.y % TILE)]));
    return made;
  },
  // names of stands, and ids of patches where they fit inside; none over another
  names: function (ctx, layer, view) {
    var texts = layer.names || layer.ids, large = !!layer.names, self = this;
    if (!texts || layer.count > 3000 && view.scale < 0.3) { return; }
    ctx.font = (large ? "700 17px " : "600 12px ") + head.font;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    this.inView(layer, view).forEach(function (i) {
      var text = texts[i].length > 24 ? texts[i].slice(0, 23) + "\u2026" : texts[i], box = layer.box;
      var wide = ctx.measureText(text).width + 6, high = large ? 22 : 16;
      if (!large && (box[4 * i + 2] - box[4 * i]) * view.scale < wide) { return; }
      var x = (box[4 * i] + box[4 * i + 2]) / 2, y = (box[4 * i + 1] + box[4 * i + 3]) / 2;
      x = x * view.scale + view.left; y = view.top - y * view.scale;
      var mine = [x - wide / 2, y - high / 2, x + wide / 2, y + high / 2];
      if (self.taken.some(function (b) { return b[0] < mine[2] && b[2] > mine[0] && b[1] < mine[3] && b[3] > mine[1]; })) { return; }
      self.taken.push(mine);
      ctx.lineWidth = 4;
      ctx.setLineDash([]);
      ctx.strokeStyle = head.colors.paper;
      ctx.strokeText(text, x, y);
      ctx.fillStyle = head.colors.ink;
      ctx.fillText(text, x, y);
    });
  },

  // what lies within so many px of a place, the topmost first
  under: function (latlng, px, only) {
    var view = this.view(), at = this._map.latLngToLayerPoint(latlng).subtract(this._bounds.min), found = [];
    var x = (at.x - view.left) / view.scale, y = (view.top - at.y) / view.scale, near = px / view.scale;
    this.layers.forEach(function (layer) {
      if (only ? only.indexOf(layer.name) < 0 : !layer.on) { return; }
      for (var i = layer.count - 1; i >= 0; i--) {
        var b = layer.box, k = 4 * i;
        if (!only && layer.hidden && layer.hidden[i] || b[k] > x + near || b[k + 2] < x - near || b[k + 1] > y + near || b[k + 3] < y - near) { continue; }
        var away = layer.kinds[i] === 2 && holds(layer, i, x, y) ? 0 : distance(layer, i, x, y) * view.scale;
        if (away <= px) { found.push({ layer: layer, i: i, px: away }); }
      }
    });
    return found.reverse();
  }
});

// the form of a mark, so many px across
function markPath(look, px) {
  var made = new Path2D();
  made.addPath(new Path2D(look.mark), new DOMMatrix([px, 0, 0, px, 0, 0]));
  return made;
}

function fillMarks(ctx, marks, look) {
  if (look.fill) { ctx.fillStyle = look.fill; ctx.fill(marks); }
  ctx.setLineDash(look.dash || []);
  if (look.halo) { ctx.strokeStyle = look.halo; ctx.lineWidth = look.width + 3; ctx.stroke(marks); }
  if (look.edge) { ctx.strokeStyle = look.edge; ctx.lineWidth = look.width; ctx.stroke(marks); }
}

// short strokes across lines, every few px along them, as barriers have on paper
function ticks(ctx, layer, list, look, view) {
  var step = look.ticks.every, half = look.ticks.half;
  ctx.beginPath();
  list.forEach(function (i) {
    for (var r = layer.firstRing[i]; r < layer.firstRing[i + 1]; r++) {
      var from = layer.firstPoint[r], end = layer.firstPoint[r + 1], next = look.ticks.from;
      for (var p = from; p < end; p++) {
        var q = p + 1 < end ? p + 1 : layer.kinds[i] === 2 ? from : p;
        var x = layer.x[p] * view.scale + view.left, y = view.top - layer.y[p] * view.scale;
        var dx = (layer.x[q] - layer.x[p]) * view.scale, dy = (layer.y[p] - layer.y[q]) * view.scale, long = Math.hypot(dx, dy);
        for (; next <= long && long > 0; next += step) {
          var cx = x + dx * next / long, cy = y + dy * next / long, ox = -dy / long * half, oy = dx / long * half;
          ctx.moveTo(cx - ox, cy - oy);
          ctx.lineTo(cx + ox, cy + oy);
        }
        next -= long;
      }
    }
  });
  stroke(ctx, look.edge, look.width * 0.8, []);
}

function stroke(ctx, color, width, dash) {
  ctx.strokeStyle = color;
  ctx.lineWidth = width;
  ctx.setLineDash(dash);
  ctx.stroke();
}

function trace(ctx, layer, i, view) {
  var x = layer.x, y = layer.y, scale = view.scale, left = view.left, top = view.top;
  for (var r = layer.firstRing[i]; r < layer.firstRing[i + 1]; r++) {
    var p = layer.firstPoint[r], last = layer.firstPoint[r + 1] - 1;
    var px = x[p] * scale + left, py = top - y[p] * scale;
    ctx.moveTo(px, py);
    for (p += 1; p <= last; p++) {
      var qx = x[p] * scale + left, qy = top - y[p] * scale;
      if (p < last && Math.abs(qx - px) + Math.abs(qy - py) < 0.7) { continue; }
      ctx.lineTo(qx, qy);
      px = qx; py = qy;
    }
    if (layer.kinds[i] === 2) { ctx.closePath(); }
  }
}

function holds(layer, i, x, y) {
  var inside = false;
  for (var r = layer.firstRing[i]; r < layer.firstRing[i + 1]; r++) {
    var from = layer.firstPoint[r], end = layer.firstPoint[r + 1];
    for (var p = from, q = end - 1; p < end; q = p++) {
      if (layer.y[p] > y !== layer.y[q] > y &&
          x < (layer.x[q] - layer.x[p]) * (y - layer.y[p]) / (layer.y[q] - layer.y[p]) + layer.x[p]) { inside = !inside; }
    }
  }
  return inside;
}

function distance(layer, i, x, y) {
  var least = Infinity, closed = layer.kinds[i] === 2;
  for (var r = layer.firstRing[i]; r < layer.firstRing[i + 1]; r++) {
    var from = layer.firstPoint[r], end = layer.firstPoint[r + 1];
    for (var p = from; p < end; p++) {
      var q = p + 1 < end ? p + 1 : closed ? from : p;
      var dx = layer.x[q] - layer.x[p], dy = layer.y[q] - layer.y[p], long = dx * dx + dy * dy;
      var t = long ? Math.max(0, Math.min(1, ((x - layer.x[p]) * dx + (y - layer.y[p]) * dy) / long)) : 0;
      least = Math.min(least, Math.hypot(layer.x[p] + t * dx - x, layer.y[p] + t * dy - y));
    }
  }
  return least;
}
