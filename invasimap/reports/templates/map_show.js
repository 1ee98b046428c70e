// The switches: what reaches it, what is allowed there and which species, together; each says what it would show.
var chosen = {}, GROUP_WORDS = { access: "What gets there", zone: "What is allowed there", species: "Species" };
var faces = null, patches = null;

function buildShow() {
  var box = document.getElementById("show-groups");
  faces = byName("faces");
  patches = byName("patches");
  ["access", "zone", "species"].forEach(function (group) {
    chosen[group] = head.groups[group].map(function () { return true; });
    if (patches) { box.appendChild(groupBox(group)); }
  });
  box.appendChild(otherLayers());
  if (head.background) { box.appendChild(backgroundBox()); }
  document.getElementById("show-all").addEventListener("click", function () {
    Object.keys(chosen).forEach(function (group) { setAll(group, true); });
    choose();
  });
  choose();
}

function byName(name) { return layers.find(function (layer) { return layer.name === name; }) || null; }

function groupBox(group) {
  var box = element("fieldset", "group"), top = element("legend", "", GROUP_WORDS[group]), both = element("span", "both");
  box.dataset.group = group;
  ["all", "none"].forEach(function (word) {
    var button = element("button", "small", word);
    button.type = "button";
    button.setAttribute("aria-label", GROUP_WORDS[group] + ": " + word);
    button.addEventListener("click", function () { setAll(group, word === "all"); choose(); });
    both.appendChild(button);
  });
  box.appendChild(top);
  box.appendChild(both);
  head.groups[group].forEach(function (item, k) { box.appendChild(switchRow(group, item, k)); });
  return box;
}

function switchRow(group, item, k) {
  var row = element("label", "switch"), input = element("input"), words = element("span", "words", item.words || item.latin);
  input.type = "checkbox";
  input.checked = true;
  input.addEventListener("change", function () { chosen[group][k] = input.checked; choose(); });
  if (item.latin && item.words) { words.appendChild(element("i", "", item.latin)); }
  if (item.latin && !item.words) { words.classList.add("latin"); }
  row.appendChild(input);
  if (item.look >= 0) { row.appendChild(swatch(head.fills[item.look])); }
  row.appendChild(words);
  item.says = element("span", "figures");
  row.appendChild(item.says);
  item.input = input;
  item.row = row;
  return row;
}

function swatch(fill) {
  var space = "http://www.w3.org/2000/svg", svg = document.createElementNS(space, "svg"), box = document.createElementNS(space, "rect");
  svg.setAttribute("class", "swatch");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("viewBox", "0 0 28 18");
  [["x", 1], ["y", 1], ["width", 26], ["height", 16], ["fill", "url(#" + fill + ")"], ["stroke", head.colors.ink]].forEach(function (pair) {
    box.setAttribute(pair[0], pair[1]);
  });
  svg.appendChild(box);
  return svg;
}

function setAll(group, on) {
  head.groups[group].forEach(function (item, k) { chosen[group][k] = item.input.checked = on; });
}

// Which species a face counts for, and whether its ground is chosen; without: a group that is taken as all on
function faceCounts(without) {
  var n = head.groups, tally = n[without].map(function () { return 0; });
  var set = faces.sets.map(function (list) { return list.some(function (s) { return chosen.species[s]; }); });
  for (var i = 0; i < faces.count; i++) {
    if (without !== "access" && !chosen.access[faces.access[i]] || without !== "zone" && !chosen.zone[faces.zone[i]]) { continue; }
    if (without === "species") {
      faces.sets[faces.set[i]].forEach(function (s) { tally[s] += faces.area[i]; });
    } else if (set[faces.set[i]]) { tally[faces[without][i]] += faces.area[i]; }
  }
  return tally;
}

function maskOf(groundsOf) {
  var bits = 0, wide = head.groups.access.length;
  chosen.zone.forEach(function (zoneOn, z) {
    chosen.access.forEach(function (accessOn, a) { if (groundsOf(z, a, zoneOn, accessOn)) { bits |= 1 << (z * wide + a); } });
  });
  return bits;
}

function patchCounts(group) {
  return head.groups[group].map(function (_, k) {
    var mask = maskOf(function (z, a, zoneOn, accessOn) {
      return (group === "zone" ? z === k : zoneOn) && (group === "access" ? a === k : accessOn);
    }), count = 0;
    for (var i = 0; i < patches.count; i++) {
      if (patches.mask[i] & mask && (group === "species" ? patches.species[i] === k : chosen.species[patches.species[i]])) { count++; }
    }
    return count;
  });
}

function choose() {
  if (patches) {
    hideWhatIsNotChosen();
    ["access", "zone", "species"].forEach(function (group) {
      var areas = faceCounts(group), counts = patchCounts(group);
      head.groups[group].forEach(function (item, k) {
        item.says.replaceChildren(element("b", "", areaText(areas[k])), element("span", "", number(counts[k], "patch", "patches")));
        item.row.dataset.m2 = areas[k];
        item.row.dataset.patches = counts[k];
        item.row.classList.toggle("empty", counts[k] === 0);
      });
    });
  }
  sayWhatIsShown();
  if (ground && ground._map) { ground.paint(); }
}

function hideWhatIsNotChosen() {
  var mask = maskOf(function (z, a, zoneOn, accessOn) { return zoneOn && accessOn; });
  patches.hidden = new Uint8Array(patches.count);
  for (var i = 0; i < patches.count; i++) { patches.hidden[i] = !(patches.mask[i] & mask && chosen.species[patches.species[i]]); }
  var set = faces.sets.map(function (list) { return list.some(function (s) { return chosen.species[s]; }); });
  faces.hidden = new Uint8Array(faces.count);
  for (i = 0; i < faces.count; i++) {
    faces.hidden[i] = !(chosen.zone[faces.zone[i]] && chosen.access[faces.access[i]] && set[faces.set[i]]);
  }
}

function number(count, one, several) { return figure(count, 0) + " " + (count === 1 ? one : several); }

function sayWhatIsShown() {
  var said = document.getElementById("shown"), text = "No patch was mapped.", part = false;
  if (patches) {
    var seen = 0, area = 0, whole = 0, i;
    for (i = 0; i < patches.count; i++) { seen += patches.hidden[i] ? 0 : 1; }
    for (i = 0; i < faces.count; i++) { whole += faces.area[i]; area += faces.hidden[i] ? 0 : faces.area[i]; }
    part = seen < patches.count || area < whole;
    text = part
      ? "Part of the survey is hidden: " + figure(seen, 0) + " of " + number(patches.count, "patch", "patches") + " shown, on " +
        areaText(area) + " of " + areaText(whole) + "."
      : "All " + number(patches.count, "patch", "patches") + " shown, on " + areaText(whole) + " of ground.";
  }
  var off = switches().filter(function (item) { return item.usual && !item.layers[0].on; });
  if (off.length) { text += " Not drawn: " + off.map(function (item) { return item.words; }).join(", ") + "."; }
  said.textContent = text;
  said.classList.toggle("part", part || off.length > 0);
  document.getElementById("show-all").hidden = !part;
}

var listed = null;
function switches() {
  if (!listed) {
    listed = [];
    layers.forEach(function (layer) {
      var mine = listed.find(function (item) { return item.words === layer.switch; });
      if (mine) { mine.layers.push(layer); } else if (layer.switch) { listed.push({ words: layer.switch, layers: [layer], usual: layer.on }); }
    });
  }
  return listed;
}

function otherLayers() {
  var box = element("fieldset", "group");
  box.dataset.group = "layers";
  box.appendChild(element("legend", "", "Also on the map"));
  switches().forEach(function (item) {
    box.appendChild(plainSwitch(item.words, item.usual, function (on) {
      item.layers.forEach(function (layer) { layer.on = on; });
      choose();
    }));
  });
  if (shade) { box.appendChild(plainSwitch("shape of the ground", true, function (on) { shadeOn = on; showShade(); })); }
  return box;
}

// over a background the shape of the ground is a veil
var shadeOn = true, overBackground = false;
function showShade() { if (shade) { shade.setOpacity(shadeOn ? (overBackground ? 0.3 : 1) : 0); } }

function plainSwitch(words, on, then) {
  var row = element("label", "switch"), input = element("input");
  input.type = "checkbox";
  input.checked = on;
  input.addEventListener("change", function () { then(input.checked); });
  row.appendChild(input);
  row.appendChild(element("span", "words", words));
  return row;
}

// Pictures of the ground from elsewhere: nothing is asked for before the reader says so
function backgroundBox() {
  var box = element("fieldset", "group"), from = head.background, tiles = null, credit = document.getElementById("credit");
  var note = element("p", "quiet", "");
  box.dataset.group = "background";
  note.setAttribute("role", "status");
  function rest() {
    note.textContent = "Off: nothing is fetched. Turned on, pictures of the ground on your screen are fetched from " + from.host +
      " as you move the map. That service then learns which ground you look at. It needs a signal and may cost data.";
  }
  box.appendChild(element("legend", "", "Background from the internet"));
  box.appendChild(plainSwitch("fetch it from " + from.host, false, function (on) {
    if (tiles) { tiles.remove(); tiles = null; }
    credit.textContent = on ? from.attribution : "";
    overBackground = on;
    showShade();
    rest();
    if (!on) { return; }
    note.textContent = "On: pictures are fetched from " + from.host + ".";
    tiles = L.tileLayer(from.address, { maxNativeZoom: from.max_zoom, maxZoom: 21, referrerPolicy: "no-referrer" });
    tiles.on("tileerror", function () { note.textContent = "Some pictures did not come from " + from.host + ": no signal, or not offered there."; });
    tiles.addTo(map);
  }));
  box.appendChild(note);
  rest();
  return box;
}
