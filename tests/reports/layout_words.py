"""Words of invented reports, by language: names of analytes, headings, places. Everyday words of the trade and law."""

from __future__ import annotations

# analyte id -> name, in each language
NAMES: dict[str, dict[str, str]] = {
    "en": {
        "ph": "pH", "conductivity": "Specific conductance", "total_hardness": "Total hardness",
        "alkalinity": "Total alkalinity", "calcium": "Calcium", "magnesium": "Magnesium", "sodium": "Sodium",
        "potassium": "Potassium", "chloride": "Chloride", "sulfate": "Sulfate", "nitrate": "Nitrate", "iron": "Iron",
        "manganese": "Manganese", "fluoride": "Fluoride", "silica": "Silica",
        "total_dissolved_solids": "Total dissolved solids",
    },
    "de": {
        "ph": "pH-Wert", "conductivity": "Leitfähigkeit", "total_hardness": "Gesamthärte", "alkalinity": "Säurekapazität bis pH 4,3",
        "calcium": "Calcium", "magnesium": "Magnesium", "sodium": "Natrium", "potassium": "Kalium",
        "chloride": "Chlorid", "sulfate": "Sulfat", "nitrate": "Nitrat", "iron": "Eisen", "manganese": "Mangan",
        "fluoride": "Fluorid", "silica": "Kieselsäure",
    },
    "fr": {
        "ph": "pH", "conductivity": "Conductivité à 25 °C", "total_hardness": "Dureté totale", "alkalinity": "Titre alcalimétrique complet",
        "calcium": "Calcium", "magnesium": "Magnésium", "sodium": "Sodium", "potassium": "Potassium",
        "chloride": "Chlorures", "sulfate": "Sulfates", "nitrate": "Nitrates", "iron": "Fer total",
        "manganese": "Manganèse", "fluoride": "Fluorures", "silica": "Silice",
    },
    "it": {
        "ph": "pH", "conductivity": "Conducibilità elettrica a 20 °C", "total_hardness": "Durezza totale",
        "bicarbonate": "Bicarbonati", "calcium": "Calcio", "magnesium": "Magnesio", "sodium": "Sodio",
        "potassium": "Potassio", "chloride": "Cloruri", "sulfate": "Solfati", "nitrate": "Nitrati", "iron": "Ferro",
        "manganese": "Manganese", "fluoride": "Fluoruri", "total_dissolved_solids": "Residuo fisso a 180 °C",
    },
    "es": {
        "ph": "pH", "conductivity": "Conductividad a 20 °C", "total_hardness": "Dureza total", "bicarbonate": "Bicarbonatos",
        "calcium": "Calcio", "magnesium": "Magnesio", "sodium": "Sodio", "potassium": "Potasio",
        "chloride": "Cloruros", "sulfate": "Sulfatos", "nitrate": "Nitratos", "iron": "Hierro",
        "manganese": "Manganeso", "fluoride": "Fluoruros",
    },
    "nl": {
        "ph": "Zuurgraad (pH)", "conductivity": "Geleidbaarheid", "total_hardness": "Totale hardheid",
        "bicarbonate": "Waterstofcarbonaat", "calcium": "Calcium", "magnesium": "Magnesium", "sodium": "Natrium",
        "potassium": "Kalium", "chloride": "Chloride", "sulfate": "Sulfaat", "nitrate": "Nitraat", "iron": "IJzer",
        "manganese": "Mangaan", "fluoride": "Fluoride",
    },
    "pl": {
        "ph": "Odczyn pH", "conductivity": "Przewodność elektryczna", "total_hardness": "Twardość ogólna",
        "alkalinity": "Zasadowość ogólna", "calcium": "Wapń", "magnesium": "Magnez", "sodium": "Sód",
        "potassium": "Potas", "chloride": "Chlorki", "sulfate": "Siarczany", "nitrate": "Azotany", "iron": "Żelazo",
        "manganese": "Mangan", "fluoride": "Fluorki",
    },
    "sv": {
        "ph": "pH", "conductivity": "Konduktivitet", "total_hardness": "Total hårdhet", "alkalinity": "Alkalinitet",
        "calcium": "Kalcium", "magnesium": "Magnesium", "sodium": "Natrium", "potassium": "Kalium",
        "chloride": "Klorid", "sulfate": "Sulfat", "nitrate": "Nitrat", "iron": "Järn", "manganese": "Mangan",
        "fluoride": "Fluorid",
    },
}  # fmt: skip

# heading of each kind of column
HEADS: dict[str, dict[str, str]] = {
    "en": {"name": "Parameter", "unit": "Units", "limit": "MCL", "value": "Result", "low": "Minimum",
           "typical": "Average", "high": "Maximum", "range": "Range", "highest": "Highest level detected",
           "detection": "Detection limit", "year": "Year sampled", "method": "Method", "count": "No. of samples"},
    "de": {"name": "Parameter", "unit": "Einheit", "limit": "Grenzwert", "value": "Messwert", "low": "Minimum",
           "typical": "Mittelwert", "high": "Maximum", "range": "Spanne", "detection": "Bestimmungsgrenze",
           "year": "Jahr", "method": "Verfahren", "count": "Anzahl Proben"},
    "fr": {"name": "Paramètres", "unit": "Unités", "limit": "Limite de qualité", "value": "Résultat",
           "low": "Minimum", "typical": "Moyenne", "high": "Maximum", "year": "Année", "method": "Méthode",
           "count": "Nombre de prélèvements"},
    "it": {"name": "Parametro", "unit": "Unità di misura", "limit": "Valore di parametro", "value": "Valore medio",
           "low": "Minimo", "typical": "Media", "high": "Massimo", "year": "Anno", "method": "Metodo"},
    "es": {"name": "Parámetro", "unit": "Unidad", "limit": "Valor paramétrico", "value": "Resultado",
           "low": "Mínimo", "typical": "Promedio", "high": "Máximo", "year": "Año", "method": "Método"},
    "nl": {"name": "Parameter", "unit": "Eenheid", "limit": "Wettelijke norm", "value": "Resultaat",
           "low": "Minimum", "typical": "Gemiddelde", "high": "Maximum", "year": "Jaar", "method": "Methode",
           "count": "Aantal monsters"},
    "pl": {"name": "Badany parametr", "unit": "Jednostka", "limit": "Wartość dopuszczalna", "value": "Wynik",
           "low": "Minimum", "typical": "Średnia", "high": "Maksimum", "year": "Rok", "method": "Metoda"},
    "sv": {"name": "Parameter", "unit": "Enhet", "limit": "Gränsvärde", "value": "Resultat", "low": "Min",
           "typical": "Medelvärde", "high": "Max", "year": "År", "method": "Metod"},
}  # fmt: skip

PLACES: dict[str, list[str]] = {
    "en": ["Northfield Wells", "Lake Plant", "South Zone", "Hill Reservoir"],
    "de": ["Wasserwerk Nordau", "Wasserwerk Talheim", "Zone Süd", "Hochbehälter Berg"],
    "fr": ["Zone Nord", "Usine de Belleval", "Réservoir du Mont", "Zone Sud"],
    "it": ["Fonte Alta", "Acquedotto Nord", "Pozzo Valle", "Zona Sud"],
    "es": ["Zona Norte", "Planta del Río", "Pozo Alto", "Zona Sur"],
    "nl": ["Pompstation Noord", "Pompstation Duin", "Zone Zuid", "Pompstation Berg"],
    "pl": ["Ujęcie Północ", "Stacja Dolna", "Sieć Południe", "Ujęcie Leśne"],
    "sv": ["Norra vattenverket", "Sjöverket", "Södra zonen", "Bergets verk"],
}
TITLES = {
    "en": "Water quality report", "de": "Trinkwasseranalyse", "fr": "Qualité de l'eau distribuée",
    "it": "Qualità dell'acqua", "es": "Calidad del agua", "nl": "Kwaliteit van het drinkwater",
    "pl": "Jakość wody", "sv": "Dricksvattenkvalitet",
}  # fmt: skip
PROSE = {
    "en": "We test the water every month. Hard water is safe to drink and may leave scale in kettles.",
    "de": "Das Trinkwasser wird regelmäßig untersucht und entspricht der Verordnung.",
    "fr": "L'eau distribuée est contrôlée régulièrement et reste conforme.",
    "it": "L'acqua viene controllata regolarmente dal laboratorio.",
    "es": "El agua se analiza cada mes en nuestro laboratorio.",
    "nl": "Het drinkwater wordt regelmatig onderzocht.",
    "pl": "Woda jest badana regularnie w naszym laboratorium.",
    "sv": "Dricksvattnet undersöks regelbundet.",
}
HARDNESS = {
    "en": ["mg/L as CaCO3", "gpg"], "de": ["°dH"], "fr": ["°fH"], "it": ["°F"], "es": ["mg/L CaCO3"],
    "nl": ["mmol/l", "°dH"], "pl": ["mg/l CaCO3"], "sv": ["°dH"],
}  # fmt: skip
