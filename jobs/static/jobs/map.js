// Puts a map that can be moved and zoomed over each drawn one. No tiles: sites and routes on a plain ground, nothing
// is fetched from anywhere else. Where this script or the places cannot be had, the drawing stays.
"use strict";

const COLOURS = { late: "#c62f2f", open: "#f0b429", planned: "#ffffff", started: "#7fb3d9", finished: "#8a948f" };
const INK = "#1c2624";

function words(place) {
  const box = document.createElement("div");
  const name = place.url ? document.createElement("a") : document.createElement("strong");
  if (place.url) name.href = place.url;
  name.textContent = place.name;
  box.append(name);
  const begins = place.begins ? place.begins.slice(11, 16) : "";
  for (const text of [begins, place.text]) {
    if (!text) continue;
    const line = document.createElement("div");
    line.textContent = text;
    box.append(line);
  }
  return box;
}

function sign(feature, where, last) {
  const place = feature.properties;
  if (place.state) {
    const look = { radius: 8, color: INK, weight: 1.5, fillColor: COLOURS[place.state], fillOpacity: 1 };
    return L.circleMarker(where, look);
  }
  const end = place.number === 0 || place.number === last;
  const label = document.createElement("span");
  label.textContent = place.number === 0 ? "S" : place.number === last ? "E" : String(place.number);
  const icon = L.divIcon({ className: end ? "sign end" : "sign", html: label, iconSize: [28, 28] });
  return L.marker(where, { icon, title: place.name, alt: place.name, zIndexOffset: end ? -100 : place.number });
}

// Where the day ends at the place it began, one sign stands for both.
function withoutSecondEnd(places) {
  const points = places.features.filter((feature) => feature.geometry.type === "Point");
  const [first, last] = [points[0], points.at(-1)];
  const isRound = first.properties.number === 0 && String(first.geometry.coordinates) === String(last.geometry.coordinates);
  return isRound && first !== last ? places.features.filter((feature) => feature !== last) : places.features;
}

const drawn = new Map(); // ground -> its map

function draw(picture, places) {
  const ground = document.createElement("div");
  ground.className = "ground";
  ground.setAttribute("role", "group");
  ground.setAttribute("aria-label", picture.alt);
  picture.after(ground);
  const map = L.map(ground, {
    attributionControl: false,
    scrollWheelZoom: false, // the page keeps the wheel
    dragging: !L.Browser.mobile, // and the finger; the buttons zoom
    zoomSnap: 0.25,
    maxZoom: 19,
  });
  L.control.scale({ imperial: picture.dataset.units === "us", metric: picture.dataset.units !== "us" }).addTo(map);
  drawn.set(ground, map);
  const last = places.features.filter((feature) => feature.geometry.type === "Point").length - 1;
  const layer = L.geoJSON(withoutSecondEnd(places), {
    style: (feature) => ({ color: INK, weight: 3, dashArray: feature.properties.estimated ? "6 6" : null }),
    pointToLayer: (feature, where) => sign(feature, where, last),
    onEachFeature: (feature, sign) => {
      if (feature.geometry.type === "Point") sign.bindPopup(words(feature.properties));
    },
  }).addTo(map);
  map.fitBounds(layer.getBounds(), { padding: [24, 24], maxZoom: 16 });
  picture.hidden = true;
}

async function improve(picture) {
  const answer = await fetch(picture.dataset.places, { credentials: "same-origin" });
  if (!answer.ok) return;
  const places = await answer.json();
  if (!picture.isConnected) return; // its part of the page is gone since
  if (places.features.some((feature) => feature.geometry.type === "Point")) draw(picture, places);
}

function showMaps(root) {
  if (!window.L) return;
  for (const picture of root.querySelectorAll("img[data-places]")) improve(picture).catch(() => {});
}

// A part of the page that is thrown away lets go of its maps first.
function dropMaps(root) {
  for (const ground of root.querySelectorAll(".ground")) {
    drawn.get(ground)?.remove();
    drawn.delete(ground);
  }
}

showMaps(document);
