(function () {
  "use strict";
  var data = JSON.parse(document.getElementById("figures-data").textContent), map = window.rillbookMap, NONE = -999, SIDE = 140;
  var legend = document.getElementById("legend"), figures = document.getElementById("figures");
  document.getElementById("no-scripts").remove();
  if (window.innerWidth < 700) { legend.open = false; }
  if (!map) { return; }
  map.setMinZoom(3);
  map.setMaxZoom(18);
  var chosen = {}, shownMarks = {}, sums = [], opener = null, version = 0, grouped = {};
  var WIDE = 17, cells = null, count = data.n_cells;
  var coarse = data.places.map(function (place) { return !data.private && place[2] > data.finest; });

  // A cell: place, layer, taxon, medium, months as bits (0: too few to say more), first and last year, finds, animals, visits, visits
  // without, minutes, readings, microhabitats as bits, median, lowest and highest in tenths of a degree. All cells lie in one typed
  // array, and only those that someone looks at are cut out of it: a hundred thousand small arrays would hold up the page. None is read
  // before somebody chooses or opens something: the sums that the page opens with stand in data.first.
  function needCells() {
    if (!cells) { cells = unfold(JSON.parse(byId("cells-data").textContent)); }
  }
  function unfold(numbers) {
    var made = new Int32Array(data.n_cells * WIDE), at = 0, to = 0, head, left, k, search;
    while (at < numbers.length) {
      head = at;
      search = isSearch(numbers[head + 1]);
      at += 5;
      for (left = numbers[head + 4]; left > 0; left -= 1, to += WIDE) {
        for (k = 0; k < 4; k += 1) { made[to + k] = numbers[head + k]; }
        if (!numbers[at]) { at += 1; continue; }
        made[to + 4] = numbers[at] > 12 ? numbers[at] - 12 : 1 << (numbers[at] - 1);
        made[to + 5] = data.year + numbers[at + 1];
        made[to + 6] = made[to + 5] + numbers[at + 2];
        at += 3;
        if (search) {
          for (k = 9; k < 12; k += 1) { made[to + k] = numbers[at]; at += 1; }
          continue;
        }
        for (k = 7; k < 10; k += 1) { made[to + k] = numbers[at]; at += 1; }
        made[to + 13] = numbers[at];
        made[to + 12] = numbers[at + 1];
        at += 2;
        if (made[to + 12] > 0) { made[to + 14] = made[to + 15] = made[to + 16] = numbers[at]; at += 1; }
        if (made[to + 12] > 1) { made[to + 15] -= numbers[at]; made[to + 16] += numbers[at + 1]; at += 2; }
      }
    }
    return made;
  }
  function isSearch(layer) { return data.layers[layer][4] === "nothing_found" || data.layers[layer][4] === "visits"; }
  function cut(number) { return cells.subarray(number * WIDE, number * WIDE + WIDE); }
  function few(cell) { return cell[4] === 0; }
  function many(n, one, several) { return n + " " + (n === 1 ? one : several); }
  function byId(id) { return document.getElementById(id); }
  function element(tag, text, parent, kind) {
    var made = document.createElement(tag);
    if (text) { made.textContent = text; }
    if (kind) { made.className = kind; }
    if (parent) { parent.appendChild(made); }
    return made;
  }

  function passes(number) {
    var at = number * WIDE, taxon = cells[at + 2], placed = !isSearch(cells[at + 1]);
    if (chosen.taxon >= 0 && taxon !== chosen.taxon && data.taxa[taxon] !== "") { return false; }
    if (cells[at + 4] === 0) { return !(chosen.month || chosen.year || (placed && chosen.medium >= 0)); }
    if (chosen.medium >= 0 && placed && cells[at + 3] !== chosen.medium) { return false; }
    if (chosen.month && !(cells[at + 4] & (1 << (chosen.month - 1)))) { return false; }
    return !chosen.year || (cells[at + 5] <= chosen.year && cells[at + 6] >= chosen.year);
  }

  function readChoices() {
    chosen = { month: +byId("month").value, year: +byId("year").value, taxon: +byId("taxon").value, medium: +byId("medium").value };
    return chosen.month || chosen.year || chosen.taxon >= 0 || chosen.medium >= 0 || byId("heat").checked;
  }
  function firstSums() {
    sums = data.places.map(function () { return {}; });
    data.first.forEach(function (one) { sums[one[0]][one[1]] = { cells: [], n: one[2], months: one[3] }; });
  }
  function sumUp() {
    needCells();
    sums = data.places.map(function () { return {}; });
    for (var number = 0; number < count; number += 1) {
      if (!passes(number)) { continue; }
      var at = number * WIDE, place = sums[cells[at]], layer = cells[at + 1];
      var mine = place[layer] || (place[layer] = { cells: [], n: 0, months: 0 });
      mine.cells.push(number);
      mine.months |= cells[at + 4];
      mine.n += cells[at + data.layers[layer][5]];
    }
  }

  function middle(numbers) {
    var read = numbers.map(cut).filter(function (cell) { return cell[12] > 0; }), total = 0, so_far = 0, found = null;
    read.sort(function (one, other) { return one[14] - other[14]; });
    read.forEach(function (cell) { total += cell[12]; });
    read.some(function (cell) { so_far += cell[12]; found = cell[14] / 10; return so_far * 2 >= total; });
    return found;
  }
  function heatOf(celsius) {
    return data.heat[0].filter(function (edge) { return celsius >= edge; }).length;
  }

  function runs(numbers, name) {
    if (!numbers.length) { return ""; }
    if (numbers.length > 2 && numbers[numbers.length - 1] - numbers[0] === numbers.length - 1) {
      return name(numbers[0]) + " to " + name(numbers[numbers.length - 1]);
    }
    return numbers.map(name).join(", ");
  }
  function monthsOf(mask) {
    var numbers = [];
    for (var m = 0; m < 12; m += 1) { if (mask & (1 << m)) { numbers.push(m); } }
    return runs(numbers, function (m) { return data.months[m]; });
  }
  function degrees(value, letters) { return Math.abs(+value.toFixed(3)) + "° " + letters[value < 0 ? 1 : 0]; }
  function placeWords(number) {
    var place = data.places[number];
    if (data.private) { return place[3] + (place[4] ? ", " + place[4] : "") + "; " + place[0].toFixed(5) + ", " + place[1].toFixed(5); }
    return degrees(place[0], "NS") + " to " + degrees(place[0] + place[2], "NS") + ", " +
      degrees(place[1], "EW") + " to " + degrees(place[1] + place[2], "EW");
  }
  function temperatureWords(cells) {
    var read = cells.filter(function (cell) { return cell[12] > 0; }), n = 0, low = Infinity, high = -Infinity, from = Infinity, to = -Infinity;
    if (!read.length) { return "no temperature"; }
    read.forEach(function (cell) {
      n += cell[12];
      from = Math.min(from, cell[14]); to = Math.max(to, cell[14]); low = Math.min(low, cell[15]); high = Math.max(high, cell[16]);
    });
    function one(tenths) { return (tenths / 10).toFixed(1); }
    if (n === 1) { return one(low) + " °C, one reading"; }
    return (from === to ? "median " + one(from) : "medians " + one(from) + " to " + one(to)) + " °C, range " + one(low) + " to " + one(high) +
      ", " + n + " readings";
  }
  function line(cells, parent) {
    var made = element("p", "", parent), first = cells[0], layer = data.layers[first[1]][4], total = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
    if (data.taxa[first[2]]) { element("i", data.taxa[first[2]], made); }
    function say(text) { made.appendChild(document.createTextNode(text)); }
    if (few(first)) { say((data.taxa[first[2]] ? ": " : "") + data.few + "."); return; }
    var micro = {}, years = [Infinity, -Infinity];
    cells.forEach(function (cell) {
      for (var k = 7; k < 12; k += 1) { total[k] += cell[k]; }
      data.microhabitats.forEach(function (words, code) { if (Math.floor(cell[13] / Math.pow(2, code)) % 2) { micro[code] = true; } });
      years = [Math.min(years[0], cell[5]), Math.max(years[1], cell[6])];
    });
    var when = years[0] === years[1] ? "" + years[0] : years[0] + " to " + years[1], visits = many(total[9], "visit", "visits");
    if (layer === "nothing_found") { say((data.taxa[first[2]] ? "" : "No taxon named") + ", " + when + ": not found on " + total[10] + " of " + visits + " that looked for it."); return; }
    if (layer === "visits") {
      say(when + ": " + visits + (total[11] ? ", " + total[11] + " minutes of search noted" : "") + (total[10] ? "; nothing found on " + total[10] : "") + ".");
      return;
    }
    var count = layer === "available" ? many(total[7], "point", "points") :
      layer === "egg_mass" ? many(total[8], "clutch", "clutches") : many(total[8], "animal", "animals") + " in " + many(total[7], "find", "finds");
    say((data.taxa[first[2]] ? ", " : "") + data.media[first[3]] + ", " + when + ": " + count + " on " + visits + "; " + temperatureWords(cells) + ". " +
      Object.keys(micro).map(function (code) { return data.microhabitats[code]; }).join("; "));
  }
  function popup(group, number) {
    var box = element("div"), shown = [], blocks = {}, order = [], place = group.places.length === 1 ? data.places[group.places[0]] : null;
    if (!cells) { sumUp(); }
    group.places.forEach(function (at) { if (sums[at][number]) { shown = shown.concat(sums[at][number].cells.map(cut)); } });
    element("h2", data.layers[number][3], box);
    element("p", place ? placeWords(group.places[0]) : many(group.places.length, "", data.private ? "sites" : "squares").trim() + " together; zoom in to part them", box, "place");
    if (place && place[5]) { element("p", place[5], box); }
    shown.forEach(function (cell) {
      var key = few(cell) ? [99, 0, cell[2]] : [Math.log2(cell[4] & -cell[4]), cell[4], cell[2], cell[3]], name = key.join(" ");
      if (!blocks[name]) { blocks[name] = { key: key, cells: [] }; order.push(name); }
      blocks[name].cells.push(cell);
    });
    order.sort(function (one, other) {
      var a = blocks[one].key, b = blocks[other].key;
      return a[0] - b[0] || a[1] - b[1] || a[2] - b[2] || a[3] - b[3];
    });
    var before = "";
    order.slice(0, 60).forEach(function (name) {
      var mine = blocks[name], head = few(mine.cells[0]) ? "Month not shown" : monthsOf(mine.cells[0][4]);
      if (head !== before) { element("h3", head, box); before = head; }
      line(mine.cells, box);
    });
    if (order.length > 60) { element("p", "More than fits here: choose a month, a year or a taxon.", box); }
    singles(group, number, box);
    return box;
  }
  function single(find) {
    return find[6] + ": " + (data.taxa[find[2]] || "") + ", " + find[7] + ", " + (find[8] < 0 ? "place not noted" : data.microhabitats[find[8]]) +
      (find[9] === NONE ? "" : ", " + (find[9] / 10).toFixed(1) + " °C") + " (" + find[10] + ")" + (find[11] ? ". " + find[11] : "");
  }
  function passesAlone(find) {
    return (chosen.taxon < 0 || find[2] === chosen.taxon) && (chosen.medium < 0 || find[3] === chosen.medium) &&
      (!chosen.month || find[4] === chosen.month) && (!chosen.year || find[5] === chosen.year);
  }
  function singles(group, number, box) {
    if (group.places.length > 1) { return; }
    var mine = data.finds.filter(function (find) { return find[0] === group.places[0] && find[1] === number && passesAlone(find); });
    if (!mine.length) { return; }
    var more = element("details", "", box), list;
    element("summary", "Single finds: " + mine.length, more);
    list = element("ul", "", more);
    mine.slice(0, 200).forEach(function (find) { element("li", single(find), list); });
    if (mine.length > 200) { element("li", "and " + (mine.length - 200) + " more: choose a month or a year", list); }
  }

  var SVG = "http://www.w3.org/2000/svg";
  function draw(number, mine, dashed, label) {
    var layer = data.layers[number], size = data.sizes.filter(function (edge) { return mine.n >= edge; }).length, scale = 0.85 + 0.15 * size;
    var box = element("div"), svg = document.createElementNS(SVG, "svg"), fill = layer[1], ink = "#000", below = "";
    function part(tag, words, text) {
      var made = document.createElementNS(SVG, tag);
      Object.keys(words).forEach(function (word) { made.setAttribute(word, words[word]); });
      if (text) { made.textContent = text; }
      svg.appendChild(made);
    }
    var heated = byId("heat").checked && !isSearch(number), celsius = heated ? middle(mine.cells) : null;
    if (heated) {
      fill = celsius === null ? "#fff" : data.heat[1][heatOf(celsius)];
      ink = celsius !== null && heatOf(celsius) < data.heat[3] ? "#fff" : "#000";
      below = celsius === null ? "–" : celsius.toFixed(1) + "°";
    }
    svg.setAttribute("viewBox", "0 0 28 34");
    svg.setAttribute("width", Math.round(28 * scale));
    svg.setAttribute("height", Math.round(34 * scale));
    svg.setAttribute("aria-hidden", "true");
    part("rect", { width: 28, height: 34, fill: "#fff", "fill-opacity": 0.85, rx: 3 });
    part("path", Object.assign({ d: layer[2], fill: fill, stroke: "#000", "stroke-width": 1.5 }, dashed ? { "stroke-dasharray": "3 2" } : {}));
    part("text", { x: 14, y: { hatchling: 14, juvenile: 20 }[layer[4]] || 17, "text-anchor": "middle", "font-size": 11, "font-weight": "bold", fill: ink }, layer[0]);
    if (heated) { part("text", { x: 14, y: 33, "text-anchor": "middle", "font-size": 9 }, below); }
    for (var tall = 0; tall < 2 && !heated; tall += 1) {
      var d = "";
      for (var m = 0; m < 12; m += 1) { if (!!(mine.months & (1 << m)) === !!tall) { d += "M" + (2 + 2.1 * m).toFixed(1) + (tall ? " 26v7" : " 31v2"); } }
      if (d) { part("path", { d: d, stroke: tall ? "#000" : "#888", "stroke-width": 1.3 }); }
    }
    box.appendChild(svg);
    element("span", label, box, "unseen");
    return { box: box, size: [Math.round(28 * scale), Math.round(34 * scale)] };
  }

  function on(number) { var box = byId("layer-" + data.layers[number][4]); return box && box.checked; }
  function centre(number) {
    var place = data.places[number];
    return data.private ? L.latLng(place[0], place[1]) : L.latLng(place[0] + place[2] / 2, place[1] + place[2] / 2);
  }
  function pixels(number) {
    var place = data.places[number];
    return data.private ? 0 : map.project([place[0], place[1] + place[2]]).x - map.project([place[0], place[1]]).x;
  }
  function groups() {
    var zoom = map.getZoom(), made = [], near = {}, alone = [];
    if (grouped.zoom === zoom && grouped.version === version) { return grouped.all; }
    data.places.forEach(function (place, number) {
      if (!Object.keys(sums[number]).some(on)) { return; }
      if (pixels(number) >= SIDE) { alone.push({ key: "p" + number, places: [number], wide: true, coarse: coarse[number] }); return; }
      var point = map.project(centre(number), zoom), x = Math.floor(point.x / SIDE), y = Math.floor(point.y / SIDE), mine = null;
      for (var dx = -1; dx < 2 && !mine; dx += 1) {
        for (var dy = -1; dy < 2 && !mine; dy += 1) {
          mine = (near[(x + dx) + "/" + (y + dy)] || []).find(function (one) {
            return one.coarse === coarse[number] && Math.abs(one.x - point.x) < SIDE && Math.abs(one.y - point.y) < SIDE;
          });
        }
      }
      if (mine) { mine.places.push(number); return; }
      mine = { key: "g" + number, places: [number], x: point.x, y: point.y, wide: false, coarse: coarse[number] };
      made.push(mine);
      (near[x + "/" + y] || (near[x + "/" + y] = [])).push(mine);
    });
    grouped = { zoom: zoom, version: version, all: made.concat(alone) };
    return grouped.all;
  }
  function sides(number) {
    var place = data.places[number];
    return L.latLngBounds([place[0], place[1]], [place[0] + place[2], place[1] + place[2]]);
  }
  function spot(group) {
    if (!group.wide) { return centre(group.places[0]); }
    var box = sides(group.places[0]), size = map.getSize(), high = map.latLngToContainerPoint(box.getNorthWest()), low = map.latLngToContainerPoint(box.getSouthEast());
    if (group.coarse) {
      var first = data.places[group.places[0]], line = 46 * (2 * data.steps.indexOf(first[2]) + Math.abs(Math.round(first[1] / first[2])) % 2);
      return map.containerPointToLatLng([Math.min(Math.max(high.x, 0) + 92, low.x), Math.min(Math.max(high.y, 0) + 26 + line, low.y)]);
    }
    var x = (Math.max(high.x, 0) + Math.min(low.x, size.x)) / 2, y = (Math.max(high.y, 0) + Math.min(low.y, size.y)) / 2;
    return map.containerPointToLatLng([x, y]);
  }
  function place() {
    var wanted = {}, inView = map.getBounds().pad(0.25);
    groups().forEach(function (group) {
      if (!(group.wide ? inView.intersects(sides(group.places[0])) : inView.contains(centre(group.places[0])))) { return; }
      var key = group.key, here = {}, numbers, columns, at = spot(group);
      group.places.forEach(function (number) {
        Object.keys(sums[number]).forEach(function (layer) {
          var mine = here[layer] || (here[layer] = { cells: [], n: 0, months: 0 }), more = sums[number][layer];
          mine.cells = mine.cells.concat(more.cells);
          mine.n += more.n;
          mine.months |= more.months;
        });
      });
      numbers = Object.keys(here).map(Number).filter(on).sort(function (one, other) { return one - other; });
      var room = Math.max(3, Math.floor((map.getSize().x - map.latLngToContainerPoint(at).x - 8) / 38 + 0.5));
      columns = group.coarse && group.wide ? Math.min(numbers.length, room) : Math.ceil(Math.sqrt(numbers.length));
      var rows = Math.ceil(numbers.length / columns);
      if (group.coarse && group.wide && numbers.length) { wanted["t" + key + version] = { at: at, tab: data.places[group.places[0]][2] + "° square" }; }
      numbers.forEach(function (number, turn) {
        var row = Math.floor(turn / columns), column = turn % columns;
        var shift = group.coarse && group.wide ? [38 * column, 46 * row] : [38 * (column - (columns - 1) / 2), 46 * (row - (rows - 1) / 2)];
        wanted[[key, group.wide ? 0 : map.getZoom(), number, version, group.places.length].join(" ")] = { at: at, group: group, number: number, mine: here[number], shift: shift };
      });
    });
    Object.keys(shownMarks).forEach(function (key) {
      if (wanted[key]) { return; }
      if (shownMarks[key] === opener && opener.isPopupOpen() && opener.kept === version) { return; }
      shownMarks[key].remove();
      delete shownMarks[key];
    });
    Object.keys(wanted).forEach(function (key) {
      var one = wanted[key];
      if (shownMarks[key]) {
        if (!shownMarks[key].isPopupOpen()) { shownMarks[key].setLatLng(one.at); }
      } else { shownMarks[key] = one.tab ? tab(one) : mark(one); }
    });
  }
  function tab(one) {
    var label = L.divIcon({ html: element("span", one.tab), className: "degree tab", iconSize: [64, 16], iconAnchor: [84, 8] });
    return L.marker(one.at, { icon: label, interactive: false, keyboard: false }).addTo(map);
  }
  function mark(one) {
    var layer = data.layers[one.number], number = one.mine.n ? "" + one.mine.n : data.few;
    if (one.mine.n && isSearch(one.number)) { number = many(one.mine.n, "visit", "visits"); }
    var title = layer[3] + ": " + number;
    var where = one.group.places.length === 1 ? placeWords(one.group.places[0]) : one.group.places.length + (data.private ? " sites" : " squares");
    var drawn = draw(one.number, one.mine, one.group.coarse, title + ", " + where), size = drawn.size;
    var anchor = [size[0] / 2 - one.shift[0], size[1] / 2 - one.shift[1]];
    var icon = L.divIcon({ html: drawn.box, className: "mark", iconSize: size, iconAnchor: anchor, popupAnchor: [one.shift[0], one.shift[1] - size[1] / 2] });
    var made = L.marker(one.at, { icon: icon, title: title, riseOnHover: true, zIndexOffset: one.group.coarse ? 500 : 0 }).addTo(map);
    made.kept = version;
    made.bindPopup(function () { return popup(one.group, one.number); }, { maxWidth: 290, maxHeight: 260 });
    return made;
  }

  var under = L.layerGroup().addTo(map);
  function extra(name, make) {
    var box = byId(name), group = L.layerGroup();
    if (!box) { return; }
    function set() {
      if (!box.checked) { group.remove(); return; }
      if (!group.getLayers().length) { make(group); }
      group.addTo(map);
    }
    box.addEventListener("change", set);
    set();
  }
  if (!data.private) {
    var squares = data.places.map(function (one, number) { return number; }).sort(function (a, b) { return data.places[b][2] - data.places[a][2]; });
    squares.forEach(function (number) {
      var big = coarse[number];
      L.rectangle(sides(number), { color: "#333", weight: big ? 2 : 1.5, dashArray: big ? "7 5" : null, fillColor: "#7a8a70", fillOpacity: big ? 0.05 : 0.16, interactive: false }).addTo(under);
    });
  } else {
    data.places.forEach(function (one, number) {
      L.circleMarker(centre(number), { radius: 3, color: "#000", fillOpacity: 1, interactive: false }).addTo(under);
    });
  }
  extra("circles", function (group) {
    data.places.forEach(function (one, number) {
      if (one[2] !== null) { L.circle(centre(number), { radius: one[2], color: "#0b3d91", weight: 2, dashArray: "4 3", fillOpacity: 0.06, interactive: false }).addTo(group); }
    });
  });
  extra("own", function (group) {
    data.finds.forEach(function (find) {
      if (find.length < 14) { return; }
      var dot = L.circleMarker([find[12], find[13]], { radius: 5, color: "#000", weight: 1.5, fillColor: data.layers[find[1]][1], fillOpacity: 1 });
      dot.bindPopup(function () { var box = element("div"); element("h2", data.layers[find[1]][3], box); element("p", single(find), box); return box; }, { maxWidth: 290 });
      dot.addTo(group);
    });
  });
  extra("lines", function (group) {
    data.lines.forEach(function (one) {
      L.polyline(one[1], one[0] === "boundary" ? { color: "#5b3a8c", weight: 2, dashArray: "8 4", interactive: false } : { color: "#1f6f9c", weight: 2, interactive: false }).addTo(group);
    });
  });
  extra("outline", function (group) {
    data.outline.forEach(function (one) { L.polyline(one, { color: "#555", weight: 1.5, interactive: false }).addTo(group); });
  });
  extra("tiles", function (group) {
    L.tileLayer(data.tiles[0], { attribution: "", maxZoom: 19, referrerPolicy: "no-referrer" }).addTo(group);
  });

  function refresh() { readChoices(); sumUp(); version += 1; map.closePopup(); place(); filterTable(); }
  // Until somebody wants it the table is text inside a noscript: a large one would hold up the opening of the page.
  function fillTable() {
    var box = byId("table-box"), kept = box.querySelector("noscript");
    if (kept) { box.innerHTML = kept.textContent; }
  }
  function filterTable() {
    if (!figures.open) { return; }
    fillTable();
    needCells();
    var rows = figures.querySelectorAll("tbody tr");
    if (rows.length !== count) { return; }
    rows.forEach(function (row, number) { row.hidden = !(passes(number) && on(cells[number * WIDE + 1])); });
  }
  ["month", "year", "taxon", "medium", "heat"].forEach(function (name) { byId(name).addEventListener("change", refresh); });
  byId("heat").addEventListener("change", function () { byId("heat-key").hidden = !byId("heat").checked; });
  byId("layers").addEventListener("change", refresh);
  figures.addEventListener("toggle", filterTable);
  map.on("popupclose", place);
  map.on("popupopen", function (event) {
    opener = event.popup._source;
    event.popup.getElement().querySelector(".leaflet-popup-content").tabIndex = 0;
  });
  map.getContainer().addEventListener("keydown", function (event) {
    if (event.key !== "Escape" || !opener || !opener.isPopupOpen()) { return; }
    map.closePopup();
    if (opener.getElement && opener.getElement()) { opener.getElement().focus(); }
  });
  function refit() {
    map.invalidateSize(false);
    map.fitBounds(data.view, { paddingTopLeft: [40, 18], paddingBottomRight: [40, 40], animate: false });
  }
  var opened = [];
  window.addEventListener("beforeprint", function () {
    opened = [legend.open, figures.open];
    legend.open = figures.open = true;
    filterTable();
    document.body.classList.add("printing");
    refit();
  });
  window.addEventListener("afterprint", function () {
    legend.open = opened[0];
    figures.open = opened[1];
    document.body.classList.remove("printing");
    refit();
  });
  // a browser may keep the choices of an earlier visit
  if (readChoices()) { sumUp(); } else { firstSums(); }
  map.on("moveend", place);
  refit();
})();
