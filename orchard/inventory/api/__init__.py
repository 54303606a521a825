"""The addresses of the store."""

from __future__ import annotations

from django.urls import path

from orchard.inventory.api import (
    balances,
    documents,
    emergency,
    imports,
    lots,
    movements,
    products,
    reservations,
    scan,
    shelf_counts,
    stock,
    stocktakes,
    storage,
)

_AT = "farms/<uuid:farm>/"
_LABEL = f"{_AT}products/<uuid:product>/labels/<uuid:id>"
urlpatterns = [
    path(f"{_AT}products", products.Products.as_view()),
    path(f"{_AT}products/<uuid:id>", products.ProductHere.as_view()),
    path(f"{_AT}products/<uuid:product>/labels", products.Labels.as_view()),
    path(f"{_AT}products/<uuid:product>/labels/<uuid:id>", products.LabelHere.as_view()),
    path(f"{_LABEL}/actions/approve", products.ApproveLabel.as_view()),
    path(f"{_LABEL}/actions/withdraw", products.WithdrawLabel.as_view()),
    path(f"{_AT}products/<uuid:product>/documents", documents.Documents.as_view()),
    path(f"{_AT}products/<uuid:product>/documents/<uuid:id>", documents.DocumentHere.as_view()),
    path(f"{_AT}products/<uuid:product>/documents/<uuid:id>/content", documents.DocumentBytes.as_view()),
    path(f"{_AT}lots", lots.Lots.as_view()),
    path(f"{_AT}lots/<uuid:id>", lots.LotHere.as_view()),
    path(f"{_AT}emergency-list", emergency.EmergencyList.as_view()),
    path(f"{_AT}emergency-list.html", emergency.EmergencyPage.as_view()),
    path(f"{_AT}store-places", storage.Places.as_view()),
    path(f"{_AT}store-places/<uuid:id>", storage.PlaceHere.as_view()),
    path(f"{_AT}storage-findings", storage.StorageFindings.as_view()),
    path(f"{_AT}stock", stock.Stock.as_view()),
    path(f"{_AT}stock-movements", movements.Movements.as_view()),
    path(f"{_AT}stock-movements/<uuid:id>", movements.MovementHere.as_view()),
    path(f"{_AT}reservations", reservations.Reservations.as_view()),
    path(f"{_AT}reservations/<uuid:id>", reservations.ReservationHere.as_view()),
    path(f"{_AT}shortages", reservations.Shortages.as_view()),
    path(f"{_AT}shortages/<uuid:id>", reservations.ShortageHere.as_view()),
    path(f"{_AT}shortages/<uuid:id>/actions/answer", reservations.AnswerShortage.as_view()),
    path(f"{_AT}imports", imports.Imports.as_view()),
    path(f"{_AT}imports/products", imports.ImportProducts.as_view()),
    path(f"{_AT}imports/lots", imports.ImportLots.as_view()),
    path(f"{_AT}imports/opening-balances", imports.ImportOpeningBalances.as_view()),
    path(f"{_AT}imports/<uuid:id>", imports.ImportHere.as_view()),
    path(f"{_AT}stock-balances", balances.Balances.as_view()),
    path(f"{_AT}stock-balances.csv", balances.BalancesCsv.as_view()),
    path(f"{_AT}scan", scan.Scan.as_view()),
    path(f"{_AT}stocktakes", stocktakes.Stocktakes.as_view()),
    path(f"{_AT}stocktakes/<uuid:id>", stocktakes.StocktakeHere.as_view()),
    path(f"{_AT}stocktakes/<uuid:id>/actions/post", stocktakes.PostStocktake.as_view()),
    path(f"{_AT}stocktakes/<uuid:id>/actions/cancel", stocktakes.CancelStocktake.as_view()),
    path(f"{_AT}stocktakes/<uuid:id>/actions/reveal", stocktakes.RevealStocktake.as_view()),
    path(f"{_AT}stocktakes/<uuid:stocktake>/counts", shelf_counts.ShelfCounts.as_view()),
    path(f"{_AT}stocktakes/<uuid:stocktake>/counts/<uuid:id>", shelf_counts.ShelfCountHere.as_view()),
    path(f"{_AT}stocktakes/<uuid:id>/sheet", shelf_counts.Sheet.as_view()),
]
