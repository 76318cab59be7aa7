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
    "en": {"name": "Parameter", "uncertainty": "Uncertainty", "n": "n", "unit": "Units", "limit": "MCL", "value": "Result", "low": "Minimum",
           "typical": "Average", "high": "Maximum", "range": "Range", "highest": "Highest level detected",
           "detection": "Detection limit", "year": "Year sampled", "method": "Method", "count": "No. of samples"},
    "de": {"name": "Parameter", "uncertainty": "Messunsicherheit", "n": "n", "unit": "Einheit", "limit": "Grenzwert", "value": "Messwert", "low": "Minimum",
           "typical": "Mittelwert", "high": "Maximum", "range": "Spanne", "detection": "Bestimmungsgrenze",
           "year": "Jahr", "method": "Verfahren", "count": "Anzahl Proben"},
    "fr": {"name": "Paramètres", "uncertainty": "Incertitude", "n": "n", "unit": "Unités", "limit": "Limite de qualité", "value": "Résultat",
           "low": "Minimum", "typical": "Moyenne", "high": "Maximum", "year": "Année", "method": "Méthode",
           "count": "Nombre de prélèvements"},
    "it": {"name": "Parametro", "uncertainty": "Incertezza", "n": "n", "unit": "Unità di misura", "limit": "Valore di parametro", "value": "Valore medio",
           "low": "Minimo", "typical": "Media", "high": "Massimo", "year": "Anno", "method": "Metodo"},
    "es": {"name": "Parámetro", "uncertainty": "Incertidumbre", "n": "n", "unit": "Unidad", "limit": "Valor paramétrico", "value": "Resultado",
           "low": "Mínimo", "typical": "Promedio", "high": "Máximo", "year": "Año", "method": "Método"},
    "nl": {"name": "Parameter", "uncertainty": "Onzekerheid", "n": "n", "unit": "Eenheid", "limit": "Wettelijke norm", "value": "Resultaat",
           "low": "Minimum", "typical": "Gemiddelde", "high": "Maximum", "year": "Jaar", "method": "Methode",
           "count": "Aantal monsters"},
    "pl": {"name": "Badany parametr", "uncertainty": "Niepewność", "n": "n", "unit": "Jednostka", "limit": "Wartość dopuszczalna", "value": "Wynik",
           "low": "Minimum", "typical": "Średnia", "high": "Maksimum", "year": "Rok", "method": "Metoda"},
    "sv": {"name": "Parameter", "uncertainty": "Mätosäkerhet", "n": "n", "unit": "Enhet", "limit": "Gränsvärde", "value": "Resultat", "low": "Min",
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

# Rows that no plan uses: name, unit, figure.
OTHERS = {
    "en": [("Turbidity", "NTU", "0.12"), ("Arsenic", "µg/L", "1.4"), ("Barium", "mg/L", "0.03")],
    "de": [("Trübung", "NTU", "0.12"), ("Arsen", "µg/l", "1.4"), ("Uran", "µg/l", "0.8")],
    "fr": [("Turbidité", "NFU", "0.12"), ("Arsenic", "µg/l", "1.4"), ("Carbone organique total", "mg/l", "0.6")],
    "it": [("Torbidità", "NTU", "0.12"), ("Arsenico", "µg/l", "1.4"), ("Vanadio", "µg/l", "3.1")],
    "es": [("Turbidez", "UNF", "0.12"), ("Arsénico", "µg/l", "1.4"), ("Boro", "mg/l", "0.05")],
    "nl": [("Troebelheid", "FTE", "0.12"), ("Arseen", "µg/l", "1.4"), ("Boor", "mg/l", "0.05")],
    "pl": [("Mętność", "NTU", "0.12"), ("Arsen", "µg/l", "1.4"), ("Bor", "mg/l", "0.05")],
    "sv": [("Turbiditet", "FNU", "0.12"), ("Arsenik", "µg/l", "1.4"), ("Bor", "mg/l", "0.05")],
}
SECTIONS = {
    "en": ("Physical properties", "Chemical properties"), "de": ("Physikalische Kenngrößen", "Chemische Parameter"),
    "fr": ("Paramètres physiques", "Minéralisation"), "it": ("Parametri fisici", "Parametri chimici"),
    "es": ("Caracteres físicos", "Parámetros químicos"), "nl": ("Fysische parameters", "Chemische parameters"),
    "pl": ("Wskaźniki fizyczne", "Wskaźniki chemiczne"), "sv": ("Fysikaliska parametrar", "Kemiska parametrar"),
}  # fmt: skip
# Lines about the whole report, above its table.
ABOVE = {
    "en": ["Report no.: 4417-23          Issued: 05/11/2023", "Client: Water department     Lab no. 77"],
    "de": ["Prüfbericht: 4417-23         Datum: 14.03.2023", "Auftraggeber: Gemeindewerk   Labor-Nr. 77"],
    "fr": ["Rapport n° 4417-23           Édité le 14/03/2023", "Client : Syndicat des eaux   Dossier 77"],
    "it": ["Rapporto di prova 4417-23    Emesso il 14/03/2023", "Committente: Ufficio acque   Campione 77"],
    "es": ["Informe n.º 4417-23          Fecha: 14/03/2023", "Cliente: Servicio de aguas   Muestra 77"],
    "nl": ["Rapport: 4417-23             Datum: 14-03-2023", "Opdrachtgever: Waterdienst   Monster 77"],
    "pl": ["Sprawozdanie nr 4417/23      Data: 14.03.2023", "Zleceniodawca: Wodociągi     Próbka 77"],
    "sv": ["Rapport: 4417-23             Datum: 2023-03-14", "Uppdragsgivare: Vattenbolag  Prov 77"],
}
# A footnote beneath the table.
BELOW = {
    "en": "(1) The legal limit of nitrate is 10 mg/L as N; chloride above 250 mg/L may be tasted.",
    "de": "* Der Grenzwert für Nitrat beträgt 50 mg/l, der für Chlorid 250 mg/l.",
    "fr": "* La limite de qualité des nitrates est de 50 mg/l.",
    "it": "* Il limite di legge dei nitrati è di 50 mg/l.",
    "es": "* El límite legal de nitratos es de 50 mg/l.",
    "nl": "* De norm voor nitraat is 50 mg/l.",
    "pl": "* Wartość dopuszczalna azotanów wynosi 50 mg/l.",
    "sv": "* Gränsvärdet för nitrat är 50 mg/l.",
}
