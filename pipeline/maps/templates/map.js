(function () {
  "use strict";
  var data = JSON.parse(document.getElementById("figures-data").textContent), map = window.rillbookMap, NONE = -999, SIDE = 128;
  var legend = document.getElementById("legend"), figures = document.getElementById("figures");
  document.getElementById("no-scripts").remove();
  if (window.innerWidth < 700) { legend.open = false; }
  if (!map) { return; }
  map.setMinZoom(3);
  map.setMaxZoom(18);
  var chosen = {}, shown = {}, sums = [], opener = null, version = 0, grouped = {};
  var WIDE = 17, cells = null, count = data.n_cells;
  var coarse = data.places.map(function (place) { return !data.private && place[2] > data.finest; });
  // A larger square with smaller ones in it would lie under their symbols: its own stand in a row below the map.
  var boxed = data.places.map(function (place, number) {
    return coarse[number] && data.places.some(function (other) {
      return other[2] < place[2] && other[0] > place[0] - 1e-9 && other[0] < place[0] + place[2] - 1e-9 && other[1] > place[1] - 1e-9 && other[1] < place[1] + place[2] - 1e-9;
    });
  });

  // A cell: place, layer, taxon, medium, months as bits (0: too few to say more), first and last year, finds, animals, visits, visits
  // without, minutes, readings, microhabitats as bits, median, lowest and highest in tenths of a degree. All cells lie in one typed
  // array, and only those that someone looks at are cut out of it: a hundred thousand small arrays would hold up the page. None is read
  // before somebody chooses or opens something: the sums that the page opens with stand in data.first.
  function needCells() {
    if (!cells) { cells = unfold(unpacked(byId("cells-data").textContent)); }
  }
  // Whole numbers as signs of five bits each, the lowest first; 32 says that more follow, and the lowest bit of all is the sign.
  function unpacked(text) {
    var numbers = [], number = 0, shift = 0, part, at;
    for (at = 0; at < text.length; at += 1) {
      part = text.charCodeAt(at) - 63;
      number += (part & 31) * Math.pow(2, shift);
      shift += 5;
      if (part < 32) { numbers.push(number % 2 ? -(number + 1) / 2 : number / 2); number = shift = 0; }
    }
    return numbers;
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
  function both(tenths) { return (tenths / 10).toFixed(1) + " °C (" + Math.round(tenths * 0.18 + 32) + " °F)"; }
  function temperatureWords(cells) {
    var read = cells.filter(function (cell) { return cell[12] > 0; }), n = 0, low = Infinity, high = -Infinity, from = Infinity, to = -Infinity;
    if (!read.length) { return "no temperature"; }
    read.forEach(function (cell) {
      n += cell[12];
      from = Math.min(from, cell[14]); to = Math.max(to, cell[14]); low = Math.min(low, cell[15]); high = Math.max(high, cell[16]);
    });
    if (n === 1) { return both(low) + ", one reading"; }
    return (from === to ? "median " + both(from) : "medians " + both(from) + " to " + both(to)) + ", range " + (low / 10).toFixed(1) + " to " + (high / 10).toFixed(1) +
      " °C, " + n + " readings";
  }
  // The coolest and the warmest month of a stage, each by the middle of its medians: a number over all months would say nothing.
  function seasonWords(numbers) {
    var low = null, high = null;
    for (var m = 0; m < 12; m += 1) {
      var celsius = middle(numbers.filter(inMonth(m)));
      if (celsius === null) { continue; }
      if (!low || celsius < low[0]) { low = [celsius, m]; }
      if (!high || celsius >= high[0]) { high = [celsius, m]; }
    }
    function one(found) { return data.months[found[1]].slice(0, 3) + " " + both(Math.round(found[0] * 10)); }
    if (!low) { return ["–"]; }
    if (low[0] !== high[0]) { return [one(low), one(high)]; }
    return [low[1] === high[1] ? one(low) : both(Math.round(low[0] * 10))];
  }
  function inMonth(m) { return function (number) { return cells[number * WIDE + 4] & (1 << m); }; }
  function shortMonths(mask) {
    var said = [], first = 0, m, from;
    function name(m) { return data.months[m % 12].slice(0, 3); }
    if (mask === 4095) { return "all months"; }
    // a run may pass the turn of the year, so the round starts after a month without
    while (mask & (1 << first)) { first += 1; }
    for (m = first; m < first + 12; m += 1) {
      if (!(mask & (1 << (m % 12)))) { continue; }
      from = m;
      while (mask & (1 << ((m + 1) % 12))) { m += 1; }
      said.push([from % 12, m === from ? name(m) : name(from) + (m === from + 1 ? ", " : " to ") + name(m)]);
    }
    return said.sort(function (a, b) { return a[0] - b[0]; }).map(function (one) { return one[1]; }).join(", ");
  }
  function years(cells) {
    var from = Infinity, to = -Infinity;
    cells.forEach(function (cell) { from = Math.min(from, cell[5]); to = Math.max(to, cell[6]); });
    return from === to ? "" + from : from + " to " + to;
  }
  function line(cells, parent) {
    var made = element("p", "", parent), first = cells[0], layer = data.layers[first[1]][4], total = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0], micro = {};
    element("b", data.layers[first[1]][3], made);
    function say(text) { made.appendChild(document.createTextNode(text)); }
    if (data.taxa[first[2]]) { say(", "); element("i", data.taxa[first[2]], made); }
    if (few(first)) { say(": " + data.few + "."); return; }
    cells.forEach(function (cell) {
      for (var k = 7; k < 12; k += 1) { total[k] += cell[k]; }
      data.microhabitats.forEach(function (words, code) { if (Math.floor(cell[13] / Math.pow(2, code)) % 2) { micro[code] = true; } });
    });
    say(", " + data.media[first[3]] + ", " + years(cells) + ": " + countWords(layer, total) + " on " + many(total[9], "visit", "visits") + "; " + temperatureWords(cells) + ". " +
      Object.keys(micro).map(function (code) { return data.microhabitats[code]; }).join("; "));
  }
  function countWords(layer, total) {
    if (layer === "available") { return many(total[7], "point", "points"); }
    return layer === "egg_mass" ? many(total[8], "clutch", "clutches") : many(total[8], "animal", "animals") + (total[7] === total[8] ? "" : " in " + many(total[7], "find", "finds"));
  }
  // Cells of a group by layer and taxon, in the order of the layers.
  function byStage(group) {
    var found = {};
    group.places.forEach(function (at) {
      Object.keys(sums[at]).forEach(function (layer) {
        sums[at][layer].cells.forEach(function (number) {
          var key = layer * 1000 + cells[number * WIDE + 2];
          (found[key] || (found[key] = [])).push(number);
        });
      });
    });
    return Object.keys(found).map(Number).sort(function (a, b) { return a - b; }).map(function (key) { return found[key]; });
  }
  function figuresOf(group, parent) {
    var table = element("table", "", element("div", "", parent, "wide")), head = element("tr", "", element("thead", "", table)), body = element("tbody", "", table);
    ["Stage", "Months", "Number", "Coolest and warmest month"].forEach(function (word) { element("th", word, head).scope = "col"; });
    byStage(group).forEach(function (numbers) {
      var mine = numbers.map(cut), told = mine.filter(function (cell) { return !few(cell); }), layer = data.layers[mine[0][1]], row = element("tr", "", body);
      var total = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0], mask = 0, searched = isSearch(mine[0][1]), said = [];
      told.forEach(function (cell) { mask |= cell[4]; for (var k = 7; k < 12; k += 1) { total[k] += cell[k]; } });
      var head = element("th", layer[3], row), name = data.taxa[mine[0][2]];
      head.scope = "row";
      if (name) { element("i", name, element("span", "", head)); }
      element("td", shortMonths(mask), row);
      if (!told.length) { element("td", data.few, row).colSpan = 2; return; }
      if (layer[4] === "nothing_found") { said.push("not on " + total[10] + " of " + many(total[9], "visit", "visits")); }
      else if (layer[4] === "visits") { said.push(many(total[9], "visit", "visits") + (total[10] ? ", nothing on " + total[10] : "") + (total[11] ? "; " + total[11] + " minutes" : "")); }
      else { said.push(countWords(layer[4], total)); }
      if (told.length < mine.length) { said.push("and more, " + data.few); }
      element("td", said.join("; "), row);
      var warmth = element("td", "", row);
      if (!searched) { seasonWords(numbers).forEach(function (text) { element("span", text, warmth); }); }
    });
  }
  function monthByMonth(group, box) {
    var blocks = {}, order = [], before = "";
    byStage(group).forEach(function (numbers) {
      numbers.map(cut).forEach(function (cell) {
        if (isSearch(cell[1])) { return; }
        var key = few(cell) ? [99, 0, cell[1], cell[2], 0] : [Math.log2(cell[4] & -cell[4]), cell[4], cell[1], cell[2], cell[3]], name = key.join(" ");
        if (!blocks[name]) { blocks[name] = { key: key, cells: [] }; order.push(name); }
        blocks[name].cells.push(cell);
      });
    });
    order.sort(function (one, other) {
      var a = blocks[one].key, b = blocks[other].key;
      return a[0] - b[0] || a[1] - b[1] || a[2] - b[2] || a[3] - b[3] || a[4] - b[4];
    });
    order.slice(0, 80).forEach(function (name) {
      var mine = blocks[name], head = few(mine.cells[0]) ? "Month not shown" : monthsOf(mine.cells[0][4]);
      if (head !== before) { element("h3", head, box); before = head; }
      line(mine.cells, box);
    });
    if (order.length > 80) { element("p", "More than fits here: choose a month, a year or a taxon.", box); }
  }
  function folded(words, parent, fill) {
    var more = element("details", "", parent);
    element("summary", words, more);
    more.addEventListener("toggle", function () { if (more.open && more.children.length === 1) { fill(more); } });
  }
  function popup(group) {
    var box = element("div"), place = group.places.length === 1 ? data.places[group.places[0]] : null;
    if (!cells) { sumUp(); }
    element("h2", place ? placeWords(group.places[0]) : many(group.places.length, "", data.private ? "sites" : "squares").trim() + " together", box);
    if (!place) { element("p", "Zoom in to part them.", box); }
    if (place && place[5]) { element("p", place[5], box); }
    if (chosenWords()) { element("p", chosenWords(), box); }
    figuresOf(group, box);
    folded("Month by month, and where", box, function (more) { monthByMonth(group, more); });
    singles(group, box);
    return box;
  }
  function chosenWords() {
    var said = ["month", "year", "taxon", "medium"].filter(function (name) { return byId(name).selectedIndex > 0; }).map(function (name) {
      return byId(name).options[byId(name).selectedIndex].text;
    });
    return said.length ? "Only " + said.join(", ") + "." : "";
  }
  function single(find) {
    return find[6] + ": " + data.layers[find[1]][3] + ", " + (data.taxa[find[2]] || "") + ", " + find[7] + ", " + (find[8] < 0 ? "place not noted" : data.microhabitats[find[8]]) +
      (find[9] === NONE ? "" : ", " + both(find[9])) + " (" + find[10] + ")" + (find[11] ? ". " + find[11] : "");
  }
  function passesAlone(find) {
    return (chosen.taxon < 0 || find[2] === chosen.taxon) && (chosen.medium < 0 || find[3] === chosen.medium) &&
      (!chosen.month || find[4] === chosen.month) && (!chosen.year || find[5] === chosen.year);
  }
  function singles(group, box) {
    if (group.places.length > 1) { return; }
    var mine = data.finds.filter(function (find) { return find[0] === group.places[0] && passesAlone(find); });
    if (!mine.length) { return; }
    folded("Single finds: " + mine.length, box, function (more) {
      var list = element("ul", "", more);
      mine.slice(0, 200).forEach(function (find) { element("li", single(find), list); });
      if (mine.length > 200) { element("li", "and " + (mine.length - 200) + " more: choose a month or a year", list); }
    });
  }

  var SVG = "http://www.w3.org/2000/svg", WIDTH = 48, HEIGHT = 34, SMALLEST = 0.5, LARGEST = 1.1, MOST = 150;
  var LOOKS = {
    stream: { color: "#2b7bba", weight: 2 }, lake: { color: "#2b7bba", weight: 1, fill: true, fillColor: "#2b7bba", fillOpacity: 0.3 },
    ridge: { color: "#8a6d3b", weight: 3, dashArray: "2 6" }, border: { color: "#5b3a8c", weight: 2, dashArray: "8 4" }
  };
  // A symbol and, right of it, its year: twelve cells, a row a quarter, dark where it was found.
  function draw(number, mine, dashed, parent) {
    var layer = data.layers[number], size = data.sizes.filter(function (edge) { return mine.n >= edge; }).length, grown = 0.7 + 0.1 * size;
    var fill = layer[1], ink = "#000", below = "", put, shades = {}, heated = byId("heat").checked && !isSearch(number), celsius = heated ? middle(mine.cells) : null;
    if (heated) {
      fill = celsius === null ? "#fff" : data.heat[1][heatOf(celsius)];
      ink = celsius !== null && heatOf(celsius) < data.heat[3] ? "#fff" : "#000";
      below = celsius === null ? "–" : celsius.toFixed(1) + "°";
    }
    shape("rect", { width: WIDTH, height: HEIGHT, fill: "#fff", "fill-opacity": 0.85, rx: 3 }, parent);
    put = "translate(14 " + (heated ? 13 : 16) + ") scale(" + grown.toFixed(1) + ") translate(-14 -13)";
    shape("path", Object.assign({ d: layer[2], fill: fill, stroke: "#000", "stroke-width": 1.5, transform: put }, dashed ? { "stroke-dasharray": "3 2" } : {}), parent);
    shape("text", { x: 14, y: { hatchling: 14, juvenile: 20 }[layer[4]] || 17, "text-anchor": "middle", "font-size": 11, "font-weight": "bold", fill: ink, transform: put }, parent, layer[0]);
    for (var m = 0; m < 12 && mine.months; m += 1) {
      var seen = !!(mine.months & (1 << m)), own = seen && heated ? middle(mine.cells.filter(inMonth(m))) : null;
      var shade = !seen ? "#fff" : !heated ? "#000" : own === null ? "#bbb" : data.heat[1][heatOf(own)];
      shades[shade] = (shades[shade] || "") + "M" + (29.5 + 5.5 * (m % 3)) + " " + (3 + 7 * Math.floor(m / 3)) + "h4.5v6h-4.5z";
    }
    Object.keys(shades).forEach(function (shade) { shape("path", { d: shades[shade], fill: shade, stroke: shade === "#fff" ? "#999" : "#000", "stroke-width": 0.7 }, parent); });
    if (heated) { shape("text", { x: 14, y: 32, "text-anchor": "middle", "font-size": 9 }, parent, below); }
  }
  function shape(tag, words, parent, text) {
    var made = document.createElementNS(SVG, tag);
    Object.keys(words).forEach(function (word) { made.setAttribute(word, words[word]); });
    if (text) { made.textContent = text; }
    if (parent) { parent.appendChild(made); }
    return made;
  }
  function sheet(wide, high, width, height) {
    return shape("svg", { viewBox: "0 0 " + wide + " " + high, width: width, height: height });
  }

  function on(number) { var box = byId("layer-" + data.layers[number][4]); return box && box.checked; }
  function centre(number) {
    var place = data.places[number];
    return data.private ? L.latLng(place[0], place[1]) : L.latLng(place[0] + place[2] / 2, place[1] + place[2] / 2);
  }
  function shownLayers(places) {
    var here = {};
    places.forEach(function (number) { Object.keys(sums[number]).forEach(function (layer) { if (on(layer)) { here[layer] = true; } }); });
    return Object.keys(here).map(Number).sort(function (one, other) { return one - other; });
  }
  // The columns with which so many symbols become largest in a box, and how large.
  function fitting(many, wide, high) {
    var best = { many: many, scale: 0, columns: 1, slim: 0 };
    for (var columns = 1; columns <= many; columns += 1) {
      var across = columns * WIDTH / wide, down = Math.ceil(many / columns) * HEIGHT / high, scale = Math.min(1 / across, 1 / down, LARGEST), slim = Math.max(across, down);
      if (scale > best.scale + 1e-6 || (scale > best.scale - 1e-6 && slim < best.slim)) { best = { many: many, scale: scale, columns: columns, slim: slim }; }
    }
    return best;
  }
  function edges(south, west, step) { return L.latLngBounds([south, west], [south + step, west + step]); }
  function sides(number) { return edges(data.places[number][0], data.places[number][1], data.places[number][2]); }
  function pixels(box, zoom) {
    var high = map.project(box.getNorthWest(), zoom), low = map.project(box.getSouthEast(), zoom);
    return [low.x - high.x, low.y - high.y];
  }
  // Squares by themselves where their symbols fit into them; else blocks of squares, all of one size, each with its symbols inside.
  function blocks(step, zoom) {
    var found = {}, made = [];
    data.places.forEach(function (place, number) {
      if (boxed[number] || !Object.keys(sums[number]).some(on)) { return; }
      var side = Math.max(step, place[2]), south = Math.floor(place[0] / side + 1e-6) * side, west = Math.floor(place[1] / side + 1e-6) * side, key = [side, south.toFixed(4), west.toFixed(4)].join(" ");
      if (!found[key]) { found[key] = { key: key, places: [], bounds: edges(south, west, side), coarse: place[2] > step, block: side > place[2] + 1e-9 }; made.push(found[key]); }
      found[key].places.push(number);
    });
    made.forEach(function (group) {
      var room = pixels(group.bounds, zoom);
      group.room = room;
      group.fit = fitting(shownLayers(group.places).length, room[0] * 0.94, room[1] * 0.94);
    });
    return made;
  }
  function nearby(zoom) {
    var made = [], near = {};
    data.places.forEach(function (place, number) {
      if (!Object.keys(sums[number]).some(on)) { return; }
      var point = map.project(centre(number), zoom), x = Math.floor(point.x / SIDE), y = Math.floor(point.y / SIDE), mine = null;
      for (var dx = -1; dx < 2 && !mine; dx += 1) {
        for (var dy = -1; dy < 2 && !mine; dy += 1) {
          mine = (near[(x + dx) + "/" + (y + dy)] || []).find(function (one) { return Math.abs(one.x - point.x) < SIDE && Math.abs(one.y - point.y) < SIDE; });
        }
      }
      if (mine) { mine.places.push(number); return; }
      mine = { key: "g" + number, places: [number], x: point.x, y: point.y };
      made.push(mine);
      (near[x + "/" + y] || (near[x + "/" + y] = [])).push(mine);
    });
    made.forEach(function (group) { group.fit = fitting(shownLayers(group.places).length, SIDE - 8, SIDE - 16); });
    return made;
  }
  function groups() {
    var zoom = map.getZoom(), made = null;
    if (grouped.zoom === zoom && grouped.version === version) { return grouped.all; }
    if (data.private) { made = nearby(zoom); } else {
      // nobody reads more than so many symbols at once; how many come into view follows from the zoom alone, so that a pan moves no block
      var view = L.latLngBounds(data.view), size = map.getSize(), room = pixels(view, zoom), share = Math.min(1, size.x / room[0]) * Math.min(1, size.y / room[1]);
      [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000].some(function (factor) {
        made = blocks(data.finest * factor, zoom);
        var many = made.reduce(function (sum, group) { return sum + (view.intersects(group.bounds) ? group.fit.many : 0); }, 0);
        return many * share <= MOST && made.every(function (group) { return group.fit.scale >= SMALLEST; });
      });
    }
    grouped = { zoom: zoom, version: version, all: made };
    return made;
  }
  // Where the symbols of a group have their middle: in the part of their square that is in view, as far as they stay inside the square.
  function spot(group, wide, high) {
    if (data.private) {
      var at = map.latLngToContainerPoint(centre(group.places[0]));
      return map.containerPointToLatLng([at.x, at.y - high / 2 - 8]);
    }
    var size = map.getSize(), top = map.latLngToContainerPoint(group.bounds.getNorthWest()), low = map.latLngToContainerPoint(group.bounds.getSouthEast());
    function inside(from, to, most, half) {
      var middle = (Math.max(from, 0) + Math.min(to, most)) / 2;
      return Math.min(Math.max(middle, from + half), to - half);
    }
    return map.containerPointToLatLng([inside(top.x, low.x, size.x, wide / 2 + 2), inside(top.y, low.y, size.y, high / 2 + 2)]);
  }
  function summed(group) {
    var here = {};
    group.places.forEach(function (number) {
      Object.keys(sums[number]).forEach(function (layer) {
        var mine = here[layer] || (here[layer] = { cells: [], n: 0, months: 0 }), more = sums[number][layer];
        mine.cells = mine.cells.concat(more.cells);
        mine.n += more.n;
        mine.months |= more.months;
      });
    });
    return here;
  }
  function place() {
    if (!settled) { return; }
    var wanted = {}, ties = [], inView = map.getBounds().pad(0.25);
    frames.clearLayers();
    groups().forEach(function (group) {
      if (!(data.private ? inView.contains(centre(group.places[0])) : inView.intersects(group.bounds))) { return; }
      var here = summed(group), numbers = shownLayers(group.places), columns = group.fit.columns, scale = group.fit.scale, rows = Math.ceil(numbers.length / columns);
      var size = [columns * WIDTH * scale, rows * HEIGHT * scale], at = spot(group, size[0], size[1]);
      // whose the symbols are: a thin line from them to each site, a dotted edge around a block of squares
      if (data.private) { group.places.forEach(function (number) { ties.push([at, centre(number)]); }); }
      else if (group.block) { L.rectangle(group.bounds, { color: "#000", weight: 1, dashArray: "1 4", fill: false, interactive: false }).addTo(frames); }
      wanted[[group.key, map.getZoom(), version].join(" ")] = { at: at, group: group, numbers: numbers, here: here, columns: columns, rows: rows, size: size };
    });
    if (ties.length) { L.polyline(ties, { color: "#000", weight: 1, opacity: 0.6, interactive: false }).addTo(frames); }
    Object.keys(shown).forEach(function (key) {
      if (!wanted[key]) { shown[key].remove(); delete shown[key]; }
    });
    Object.keys(wanted).forEach(function (key) {
      if (shown[key]) { shown[key].setLatLng(wanted[key].at); } else { shown[key] = symbols(wanted[key]); }
    });
  }
  function words(group, number, mine) {
    var layer = data.layers[number], told = mine.n ? "" + mine.n : data.few;
    if (mine.n && isSearch(number)) { told = many(mine.n, "visit", "visits"); }
    var where = group.places.length === 1 ? placeWords(group.places[0]) : group.places.length + (data.private ? " sites" : " squares");
    return [layer[3] + ": " + told, where];
  }
  function popupLook() {
    var size = map.getSize();
    return { minWidth: Math.min(260, size.x - 50), maxWidth: Math.min(660, size.x - 50), maxHeight: Math.max(180, size.y - 110) };
  }
  // All symbols of a group in one drawing: a page of some hundred markers would open too slowly.
  function symbols(one) {
    var drawn = sheet(one.columns * WIDTH, one.rows * HEIGHT, one.size[0], one.size[1]);
    one.numbers.forEach(function (number, turn) {
      var said = words(one.group, number, one.here[number]), column = turn % one.columns, row = Math.floor(turn / one.columns);
      var mark = shape("g", { class: "mark", role: "button", tabindex: 0, "aria-label": said.join(", "), transform: "translate(" + column * WIDTH + " " + row * HEIGHT + ")" }, drawn);
      shape("title", {}, mark, said[0]);
      draw(number, one.here[number], coarse[one.group.places[0]], mark);
    });
    function asked(event) {
      var mark = event.target.closest(".mark");
      if (!mark || (event.type === "keydown" && event.key !== "Enter" && event.key !== " ")) { return; }
      event.preventDefault();
      event.stopPropagation();
      if (event.type === "click" && map.dragging.moved()) { return; }
      var box = mark.getBoundingClientRect(), frame = map.getContainer().getBoundingClientRect();
      opener = mark.getAttribute("aria-label");
      tell(one.group, map.containerPointToLatLng([box.left + box.width / 2 - frame.left, box.top - frame.top]));
    }
    drawn.addEventListener("click", asked);
    drawn.addEventListener("keydown", asked);
    var icon = L.divIcon({ html: drawn, className: "symbols", iconSize: one.size, iconAnchor: [one.size[0] / 2, one.size[1] / 2] });
    return L.marker(one.at, { icon: icon, interactive: false, keyboard: false }).addTo(map);
  }
  function tell(group, at) { L.popup(popupLook()).setLatLng(at).setContent(popup(group)).openOn(map); }
  function larger() {
    var box = byId("larger");
    while (box.firstChild) { box.firstChild.remove(); }
    data.places.forEach(function (one, number) {
      var group = { places: [number] }, layers = boxed[number] ? shownLayers([number]) : [], here = layers.length ? summed(group) : null, row;
      if (!here) { return; }
      row = element("div", "", box, "row");
      element("p", "Somewhere in the " + one[2] + "° square " + placeWords(number) + ":", row);
      layers.forEach(function (layer) {
        var said = words(group, layer, here[layer]), made = element("button", "", row, "mark"), drawn = sheet(WIDTH, HEIGHT, WIDTH, HEIGHT);
        made.type = "button";
        made.title = said[0];
        made.setAttribute("aria-label", said.join(", "));
        draw(layer, here[layer], true, drawn);
        made.appendChild(drawn);
        made.addEventListener("click", function () { opener = null; tell(group, map.getCenter()); });
      });
    });
    box.hidden = !box.firstChild;
  }

  var under = L.layerGroup().addTo(map), frames = L.layerGroup().addTo(map), settled = false;
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
  // a browser may keep the choices of an earlier visit
  if (readChoices()) { sumUp(); } else { firstSums(); }
  // before anything is drawn, which every change of view draws again
  fit();
  if (!data.private) {
    var squares = data.places.map(function (one, number) { return number; }).sort(function (a, b) { return data.places[b][2] - data.places[a][2]; });
    squares.forEach(function (number) {
      var big = coarse[number];
      L.rectangle(sides(number), { color: "#333", weight: big ? 2 : 1.5, dashArray: big ? "7 5" : null, fillColor: "#7a8a70", fillOpacity: big ? 0.05 : 0.16, interactive: !boxed[number] }).on("click", function (event) {
        var group = groups().find(function (one) { return one.places.indexOf(number) >= 0; });
        if (group) { opener = null; tell(group, event.latlng); }
      }).addTo(under);
    });
  } else {
    data.places.forEach(function (one, number) {
      // under the symbols: on one of their months a dot would be read as part of it
      L.circleMarker(centre(number), { radius: 4, color: "#fff", weight: 1.5, fillColor: "#000", fillOpacity: 1, interactive: false }).addTo(under);
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
      L.polyline(one[1], Object.assign({ interactive: false }, LOOKS[one[0]])).addTo(group);
    });
  });
  extra("outline", function (group) {
    data.outline.forEach(function (one) { L.polyline(one, { color: "#888", weight: 1, interactive: false }).addTo(group); });
  });
  extra("tiles", function (group) {
    L.tileLayer(data.tiles[0], { attribution: "", maxZoom: 19, referrerPolicy: "no-referrer" }).addTo(group);
  });

  function refresh() { readChoices(); sumUp(); version += 1; map.closePopup(); place(); larger(); filterTable(); }
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
  map.on("popupopen", function (event) {
    event.popup.getElement().querySelector(".leaflet-popup-content").tabIndex = 0;
  });
  map.getContainer().addEventListener("keydown", function (event) {
    if (event.key !== "Escape") { return; }
    map.closePopup();
    map.getContainer().querySelectorAll("g.mark").forEach(function (mark) { if (mark.getAttribute("aria-label") === opener) { mark.focus(); } });
  });
  var moved = false;
  ["pointerdown", "wheel", "keydown"].forEach(function (kind) { map.getContainer().addEventListener(kind, function () { moved = true; }, { passive: true }); });
  map.on("resize", function () { if (!moved) { refit(); } });
  function refit() {
    settled = false;
    fit();
    settled = true;
    place();
  }
  function fit() {
    map.invalidateSize(false);
    var pad = data.private ? Math.min(60, map.getSize().x / 6) : 8;
    var room = { paddingTopLeft: [pad, data.private ? Math.min(136, map.getSize().y / 4) : 10], paddingBottomRight: [pad, 34], animate: false };
    var view = L.latLngBounds(data.view), whole = L.latLngBounds(data.view);
    map.fitBounds(view, room);
    if (data.private) { return; }
    // a block at the rim reaches beyond its squares, and its symbols would be cut
    groups().forEach(function (group) { if (group.block && view.intersects(group.bounds)) { whole.extend(group.bounds); } });
    if (!map.getBounds().contains(whole)) { map.fitBounds(whole, room); }
  }
  var opened = [];
  window.addEventListener("beforeprint", function () {
    opened = [legend.open];
    legend.open = true;
    document.body.classList.add("printing");
    refit();
  });
  window.addEventListener("afterprint", function () {
    legend.open = opened[0];
    document.body.classList.remove("printing");
    refit();
  });
  map.on("moveend", place);
  settled = true;
  place();
  larger();
})();
